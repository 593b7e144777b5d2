-- Signed statements about lots, and the public halves of the keys that they are signed with. What
-- counts is the signed text: it is held against its key wherever it is shown.

-- The position of the newest key or statement. Writing it is the lock under which positions are taken.
ALTER TABLE networks ADD COLUMN newest_statement BIGINT NOT NULL DEFAULT 0;

CREATE TABLE signing_keys (
    -- The key's thumbprint (RFC 7638).
    id TEXT NOT NULL PRIMARY KEY CHECK (length(id) = 43),
    network TEXT NOT NULL REFERENCES networks (id),
    farm TEXT NOT NULL REFERENCES farms (id),
    public_key TEXT NOT NULL CHECK (length(public_key) = 43),
    -- Seconds since 1970 UTC: when it was made, by the farm's clock; when the server heard of it and
    -- when it was withdrawn, by the server's.
    made_second BIGINT NOT NULL CHECK (made_second >= 0),
    known_second BIGINT NOT NULL CHECK (known_second >= 0),
    withdrawn_second BIGINT CHECK (withdrawn_second >= 0),
    introduction TEXT NOT NULL,
    vouched TEXT,
    -- Rises in the network with every key, withdrawal and statement.
    position BIGINT NOT NULL CHECK (position > 0)
);
CREATE INDEX signing_keys_farm ON signing_keys (farm);
CREATE UNIQUE INDEX signing_keys_network ON signing_keys (network, position);

CREATE TABLE statements (
    farm TEXT NOT NULL REFERENCES farms (id),
    id TEXT NOT NULL,
    network TEXT NOT NULL REFERENCES networks (id),
    lot TEXT NOT NULL,
    -- The signed text.
    compact TEXT NOT NULL,
    -- Seconds since 1970 UTC, by the server's clock.
    taken_second BIGINT NOT NULL CHECK (taken_second >= 0),
    position BIGINT NOT NULL CHECK (position > 0),
    PRIMARY KEY (farm, id)
);
CREATE INDEX statements_lot ON statements (network, lot);
CREATE UNIQUE INDEX statements_network ON statements (network, position);

-- Kinds of statement that the taker asks for: a JSON list.
ALTER TABLE wants ADD COLUMN required TEXT NOT NULL DEFAULT '[]';
