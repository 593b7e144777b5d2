DROP TABLE batches;
DROP TABLE withdrawn;
