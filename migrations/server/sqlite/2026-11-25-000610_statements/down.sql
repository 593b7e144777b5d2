ALTER TABLE wants DROP COLUMN required;
DROP TABLE statements;
DROP TABLE signing_keys;
ALTER TABLE networks DROP COLUMN newest_statement;
