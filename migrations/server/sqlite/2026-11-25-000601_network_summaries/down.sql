DROP TABLE network_summaries;
