DROP TABLE value_history;
DROP TABLE network_values;
