-- The book folded up to the end of a day, to go on from. Made of the entries alone: any of these
-- rows can be thrown away at any time and is made again.
CREATE TABLE snapshots (
    until_day TEXT NOT NULL PRIMARY KEY CHECK (length(until_day) = 10),
    -- How many entries it covers.
    entries INTEGER NOT NULL CHECK (entries >= 0),
    format INTEGER NOT NULL,
    cover BLOB NOT NULL,
    state BLOB NOT NULL,
    -- SHA-256 over all of it.
    sum BLOB NOT NULL
) STRICT;

-- What is later than a snapshot.
CREATE INDEX entries_by_day ON entries (on_day);
-- What a command counts each time.
CREATE INDEX entries_unsent ON entries (device) WHERE position IS NULL;
-- A lot's history: entries that name one lot, and the few kinds that name several or name them
-- otherwise (unknown kinds among them).
CREATE INDEX entries_by_lot ON entries (json_extract(body, '$.lot'));
CREATE INDEX entries_of_other_kinds ON entries (kind) WHERE kind NOT IN (
    'opening', 'store', 'move', 'check', 'recount', 'loss', 'stop', 'wake-up', 'plant-out',
    'came-up', 'receive', 'send', 'yield', 'field-observation', 'coming', 'plan', 'variety-note',
    'climate', 'void'
);
