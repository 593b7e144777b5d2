DROP TABLE cut_rules;
DROP TABLE questions;
