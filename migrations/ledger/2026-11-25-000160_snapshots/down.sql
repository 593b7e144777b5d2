DROP INDEX entries_of_other_kinds;
DROP INDEX entries_by_lot;
DROP INDEX entries_unsent;
DROP INDEX entries_by_day;
DROP TABLE snapshots;
