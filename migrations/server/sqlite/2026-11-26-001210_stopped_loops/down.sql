-- A loop that stopped was agreed, and its holds say what became of it.
ALTER TABLE proposals ADD COLUMN state_before TEXT NOT NULL DEFAULT 'open' CHECK (state_before IN
    ('open', 'agreed', 'settled', 'declined', 'lapsed', 'fell-through'));
UPDATE proposals SET state_before = CASE state WHEN 'stopped' THEN 'agreed' ELSE state END;
DROP INDEX proposals_network_state;
ALTER TABLE proposals DROP COLUMN state;
ALTER TABLE proposals RENAME COLUMN state_before TO state;
CREATE INDEX proposals_network_state ON proposals (network, state, id);
