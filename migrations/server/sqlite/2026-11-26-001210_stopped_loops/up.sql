-- An agreed loop of which a parcel does not come may stop. SQLite changes no CHECK of a column, so the
-- column is made anew.

ALTER TABLE proposals ADD COLUMN state_now TEXT NOT NULL DEFAULT 'open' CHECK (state_now IN
    ('open', 'agreed', 'settled', 'declined', 'lapsed', 'fell-through', 'stopped'));
UPDATE proposals SET state_now = state;
DROP INDEX proposals_network_state;
ALTER TABLE proposals DROP COLUMN state;
ALTER TABLE proposals RENAME COLUMN state_now TO state;
CREATE INDEX proposals_network_state ON proposals (network, state, id);
