-- A farm's stock book on one device. Times are milliseconds since 1970 UTC, days YYYY-MM-DD.

CREATE TABLE farm (
    one INTEGER NOT NULL PRIMARY KEY CHECK (one = 1),
    id TEXT NOT NULL,
    name TEXT NOT NULL CHECK (length(name) BETWEEN 1 AND 80),
    service_level REAL NOT NULL CHECK (service_level > 0 AND service_level < 1),
    planting TEXT
) STRICT;

-- This device and those that it was before (a fork takes a new id). Exactly one is current.
CREATE TABLE devices (
    id TEXT NOT NULL PRIMARY KEY,
    name TEXT NOT NULL,
    made_at INTEGER NOT NULL,
    -- Entries up to here may have left this device, so they are struck out, not withdrawn.
    sent_seq INTEGER NOT NULL DEFAULT 0 CHECK (sent_seq >= 0),
    state TEXT NOT NULL CHECK (state IN ('current', 'retired'))
) STRICT;
CREATE UNIQUE INDEX one_current_device ON devices (state) WHERE state = 'current';

-- The ledger: own entries and those of the farm's other devices. Never updated but for position.
CREATE TABLE entries (
    id TEXT NOT NULL,
    device TEXT NOT NULL,
    seq INTEGER NOT NULL CHECK (seq > 0),
    farm TEXT NOT NULL,
    at_millis INTEGER NOT NULL CHECK (at_millis >= 0),
    at_counter INTEGER NOT NULL CHECK (at_counter >= 0),
    on_day TEXT NOT NULL CHECK (length(on_day) = 10),
    kind TEXT NOT NULL,
    body TEXT NOT NULL,
    prev TEXT NOT NULL CHECK (length(prev) = 64),
    hash TEXT NOT NULL CHECK (length(hash) = 64),
    -- Its place in the farm's feed on the server; unknown until it was fetched from there.
    position INTEGER CHECK (position > 0),
    PRIMARY KEY (device, seq)
) STRICT;
-- Not unique: after a fork one fact may stand in two chains, and counts once.
CREATE INDEX entries_by_id ON entries (id);

-- The last stamp that this device gave or saw.
CREATE TABLE clock (
    one INTEGER NOT NULL PRIMARY KEY CHECK (one = 1),
    millis INTEGER NOT NULL,
    counter INTEGER NOT NULL
) STRICT;

-- Which server the farm is connected to and how far it was read. Secrets are not here.
CREATE TABLE link (
    one INTEGER NOT NULL PRIMARY KEY CHECK (one = 1),
    server TEXT NOT NULL,
    login TEXT NOT NULL,
    network TEXT,
    epoch TEXT,
    cursor INTEGER NOT NULL DEFAULT 0 CHECK (cursor >= 0),
    synced_at INTEGER
) STRICT;

-- Units of each lot that open offers and live holds promise, as the server said last.
CREATE TABLE promised (
    lot TEXT NOT NULL PRIMARY KEY,
    count INTEGER NOT NULL CHECK (count > 0)
) STRICT;

-- Entries that the server refused or that a fork displaced: kept and shown, never dropped.
CREATE TABLE parked (
    number INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
    entry TEXT NOT NULL,
    code TEXT NOT NULL,
    detail TEXT NOT NULL,
    parked_at INTEGER NOT NULL
) STRICT;

-- Acts on the network, stored under a client-made id before they are sent and resent unchanged.
CREATE TABLE acts (
    id TEXT NOT NULL PRIMARY KEY,
    operation TEXT NOT NULL,
    path TEXT NOT NULL,
    body TEXT NOT NULL,
    said TEXT NOT NULL,
    made_at INTEGER NOT NULL,
    state TEXT NOT NULL CHECK (state IN ('waiting', 'done', 'refused')),
    answer TEXT
) STRICT;

-- What was imported, so that a second import adds nothing.
CREATE TABLE imported (
    file_kind TEXT NOT NULL,
    row_key TEXT NOT NULL,
    row_text TEXT NOT NULL,
    lot TEXT NOT NULL,
    PRIMARY KEY (file_kind, row_key)
) STRICT;

-- Which column of a farm's files holds what, as last confirmed.
CREATE TABLE column_names (
    file_kind TEXT NOT NULL,
    header TEXT NOT NULL,
    field TEXT NOT NULL,
    PRIMARY KEY (file_kind, header)
) STRICT;
