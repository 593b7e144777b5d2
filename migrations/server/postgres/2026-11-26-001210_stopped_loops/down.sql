-- A loop that stopped was agreed, and its holds say what became of it.
UPDATE proposals SET state = 'agreed' WHERE state = 'stopped';
ALTER TABLE proposals DROP CONSTRAINT proposals_state_check;
ALTER TABLE proposals ADD CONSTRAINT proposals_state_check CHECK (state IN
    ('open', 'agreed', 'settled', 'declined', 'lapsed', 'fell-through'));
