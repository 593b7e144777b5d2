DROP INDEX entries_farm_id;
DROP INDEX entries_farm_day;
