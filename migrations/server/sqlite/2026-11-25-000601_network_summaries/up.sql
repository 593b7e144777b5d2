-- What each farm is told of what all the others of its network saw. Made of the ledgers alone: these
-- rows can be thrown away at any time and are made again.
CREATE TABLE network_summaries (
    farm TEXT NOT NULL PRIMARY KEY REFERENCES farms (id),
    network TEXT NOT NULL REFERENCES networks (id),
    made_at TEXT NOT NULL,
    -- How many entries the network's farms had noted by then.
    entries INTEGER NOT NULL CHECK (entries >= 0),
    -- The summary as JSON, and the SHA-256 of it; none while there is nothing to tell.
    summary TEXT,
    mark TEXT,
    CHECK ((summary IS NULL) = (mark IS NULL))
) STRICT;
CREATE INDEX network_summaries_network ON network_summaries (network);
