DROP TABLE movement_rules;
DROP TABLE farm_regions;
