-- What is later than a paused fold, and whether an entry stands before it.
CREATE INDEX entries_farm_day ON entries (farm, on_day);
CREATE INDEX entries_farm_id ON entries (farm, id);
