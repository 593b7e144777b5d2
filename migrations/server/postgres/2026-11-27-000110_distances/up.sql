-- Where a farm roughly is, as it says itself, in twentieths of a degree; and how far away what a want
-- takes may be.

CREATE TABLE farm_whereabouts (
    farm TEXT NOT NULL PRIMARY KEY REFERENCES farms (id),
    network TEXT NOT NULL REFERENCES networks (id),
    latitude BIGINT NOT NULL CHECK (latitude BETWEEN -1800 AND 1800),
    longitude BIGINT NOT NULL CHECK (longitude BETWEEN -3600 AND 3600),
    set_at TIMESTAMP NOT NULL
);
CREATE INDEX farm_whereabouts_network ON farm_whereabouts (network);

ALTER TABLE wants ADD COLUMN within_km BIGINT CHECK (within_km BETWEEN 1 AND 20015);
