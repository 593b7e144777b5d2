-- Entries that were withdrawn before anybody saw them, whole, so that redo can note them again.
CREATE TABLE withdrawn (
    number INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
    -- The hash that the chain ended with once the entry was gone: redo holds only there.
    behind TEXT NOT NULL CHECK (length(behind) = 64),
    entry TEXT NOT NULL,
    -- What was withdrawn by one act comes back by one.
    batch INTEGER
) STRICT;

-- Entries that one act noted and that are undone as one: an import, or the undoing of one.
CREATE TABLE batches (
    number INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
    device TEXT NOT NULL,
    first_seq INTEGER NOT NULL CHECK (first_seq > 0),
    last_seq INTEGER NOT NULL CHECK (last_seq >= first_seq),
    said TEXT NOT NULL
) STRICT;
