DROP INDEX entries_far_ahead;
ALTER TABLE link DROP COLUMN promised_mark;
