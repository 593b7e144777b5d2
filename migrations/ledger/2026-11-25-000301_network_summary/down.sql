DROP TABLE network_summary;
