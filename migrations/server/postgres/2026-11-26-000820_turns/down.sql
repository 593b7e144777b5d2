DROP TABLE turns;
