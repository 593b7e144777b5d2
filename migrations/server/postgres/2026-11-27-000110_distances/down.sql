ALTER TABLE wants DROP COLUMN within_km;
DROP TABLE farm_whereabouts;
