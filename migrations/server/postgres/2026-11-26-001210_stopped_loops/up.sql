-- An agreed loop of which a parcel does not come may stop.

ALTER TABLE proposals DROP CONSTRAINT proposals_state_check;
ALTER TABLE proposals ADD CONSTRAINT proposals_state_check CHECK (state IN
    ('open', 'agreed', 'settled', 'declined', 'lapsed', 'fell-through', 'stopped'));
