DROP TABLE deliveries;
DROP TABLE channels;
