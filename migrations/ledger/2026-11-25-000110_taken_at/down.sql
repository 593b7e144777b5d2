ALTER TABLE parked DROP COLUMN state;
ALTER TABLE entries DROP COLUMN taken_at;
