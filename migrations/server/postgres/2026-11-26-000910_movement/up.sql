-- Regions, as the coordinator notes them for farms, and what the coordinator asks for between two.

CREATE TABLE farm_regions (
    farm TEXT NOT NULL PRIMARY KEY REFERENCES farms (id),
    network TEXT NOT NULL REFERENCES networks (id),
    region TEXT NOT NULL CHECK (length(region) BETWEEN 1 AND 40),
    set_at TIMESTAMP NOT NULL
);
CREATE INDEX farm_regions_network ON farm_regions (network);

CREATE TABLE movement_rules (
    network TEXT NOT NULL REFERENCES networks (id),
    -- The folded keys on which regions are matched, and the names as they were typed.
    from_key TEXT NOT NULL,
    to_key TEXT NOT NULL,
    from_region TEXT NOT NULL,
    to_region TEXT NOT NULL,
    passage TEXT NOT NULL CHECK (passage IN ('asks', 'not-here')),
    -- Kinds of statement, as JSON.
    required TEXT NOT NULL,
    note TEXT NOT NULL,
    by_person TEXT NOT NULL REFERENCES people (id),
    set_at TIMESTAMP NOT NULL,
    PRIMARY KEY (network, from_key, to_key),
    CHECK (from_key <> to_key)
);
