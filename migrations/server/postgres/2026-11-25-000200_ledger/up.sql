-- Every farm's ledger as it came: rows are added, never changed and never removed.

CREATE TABLE entries (
    farm TEXT NOT NULL REFERENCES farms (id),
    -- 1, 2, 3 ... per farm, taken under the farm's row lock, so that they show up in order.
    position BIGINT NOT NULL CHECK (position >= 1),
    id TEXT NOT NULL,
    device TEXT NOT NULL,
    seq BIGINT NOT NULL CHECK (seq >= 1),
    at_millis BIGINT NOT NULL CHECK (at_millis >= 0),
    at_counter BIGINT NOT NULL CHECK (at_counter >= 0),
    on_day TEXT NOT NULL CHECK (length(on_day) = 10),
    kind TEXT NOT NULL CHECK (length(kind) BETWEEN 1 AND 64),
    body TEXT NOT NULL,
    prev TEXT NOT NULL CHECK (length(prev) = 64),
    hash TEXT NOT NULL CHECK (length(hash) = 64),
    stored_at TIMESTAMP NOT NULL,
    PRIMARY KEY (farm, position),
    UNIQUE (farm, device, seq)
);
CREATE INDEX entries_farm_at ON entries (farm, at_millis, at_counter);
