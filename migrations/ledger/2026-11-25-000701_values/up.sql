-- The network's market as its server told it last, and how values moved, day by day.
CREATE TABLE network_values (
    one INTEGER NOT NULL PRIMARY KEY CHECK (one = 1),
    -- The server's mark of it.
    mark TEXT NOT NULL,
    -- JSON, as the server sent it.
    market TEXT NOT NULL
) STRICT;

CREATE TABLE value_history (
    -- The day that the server made the market.
    made TEXT NOT NULL PRIMARY KEY,
    -- JSON: a list of variety, unit, value, likely range and the chance to run short.
    told TEXT NOT NULL
) STRICT;
