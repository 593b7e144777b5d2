DROP TABLE walk_ups;
