-- What the network told this farm of what all the others saw, for forecasts without a network.
CREATE TABLE network_summary (
    one INTEGER NOT NULL PRIMARY KEY CHECK (one = 1),
    -- The server's mark of it: unchanged, nobody asks again.
    mark TEXT NOT NULL,
    -- The summary as JSON.
    summary TEXT NOT NULL
) STRICT;
