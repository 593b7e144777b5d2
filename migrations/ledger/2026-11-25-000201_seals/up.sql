-- What tells damage: seals over the small tables, the end of every chain, and a count of writes.

-- SHA-256 over the rows of a table, renewed in the transaction that changes them. An empty one is
-- to be renewed before the transaction ends.
CREATE TABLE seals (
    name TEXT NOT NULL PRIMARY KEY,
    digest TEXT NOT NULL
) STRICT;

-- How often this book was written. A copy that is put back has fewer; see the mark beside the file.
CREATE TABLE writes (
    one INTEGER NOT NULL PRIMARY KEY CHECK (one = 1),
    count INTEGER NOT NULL CHECK (count >= 0)
) STRICT;
INSERT INTO writes (one, count) VALUES (1, 0);

-- What each chain must hold. An entry's hash tells that it was changed and the next one's that it
-- is missing; this tells it of the last ones, and of places in the feed, which no hash covers.
CREATE TABLE chains (
    device TEXT NOT NULL PRIMARY KEY,
    entries INTEGER NOT NULL CHECK (entries > 0),
    last_seq INTEGER NOT NULL CHECK (last_seq > 0),
    last_hash TEXT NOT NULL,
    -- Entries whose place in the feed is unknown; of the others the sum of their places, and of the
    -- times at which the server took them.
    unplaced INTEGER NOT NULL CHECK (unplaced >= 0),
    places INTEGER NOT NULL CHECK (places >= 0),
    taken INTEGER NOT NULL CHECK (taken >= 0)
) STRICT;
INSERT INTO chains (device, entries, last_seq, last_hash, unplaced, places, taken)
SELECT device, count(*), max(seq), '', sum(position IS NULL), sum(coalesce(position, 0)),
    sum(coalesce(taken_at, 0))
FROM entries GROUP BY device;
UPDATE chains SET last_hash = (
    SELECT hash FROM entries
    WHERE entries.device = chains.device AND entries.seq = chains.last_seq
);

CREATE TRIGGER chain_grows AFTER INSERT ON entries BEGIN
    INSERT INTO chains (device, entries, last_seq, last_hash, unplaced, places, taken)
    VALUES (NEW.device, 1, NEW.seq, NEW.hash, NEW.position IS NULL, coalesce(NEW.position, 0),
        coalesce(NEW.taken_at, 0))
    ON CONFLICT (device) DO UPDATE SET
        entries = entries + 1,
        last_hash = CASE WHEN excluded.last_seq > last_seq THEN excluded.last_hash ELSE last_hash END,
        last_seq = max(last_seq, excluded.last_seq),
        unplaced = unplaced + excluded.unplaced,
        places = places + excluded.places,
        taken = taken + excluded.taken;
END;
CREATE TRIGGER chain_shrinks BEFORE DELETE ON entries BEGIN
    DELETE FROM chains WHERE device = OLD.device AND entries = 1;
    UPDATE chains SET
        entries = entries - 1,
        last_seq = (SELECT seq FROM entries
            WHERE device = OLD.device AND seq <> OLD.seq ORDER BY seq DESC LIMIT 1),
        last_hash = (SELECT hash FROM entries
            WHERE device = OLD.device AND seq <> OLD.seq ORDER BY seq DESC LIMIT 1),
        unplaced = unplaced - (OLD.position IS NULL),
        places = places - coalesce(OLD.position, 0),
        taken = taken - coalesce(OLD.taken_at, 0)
    WHERE device = OLD.device;
END;
CREATE TRIGGER chain_is_placed AFTER UPDATE OF position, taken_at ON entries BEGIN
    UPDATE chains SET
        unplaced = unplaced + (NEW.position IS NULL) - (OLD.position IS NULL),
        places = places + coalesce(NEW.position, 0) - coalesce(OLD.position, 0),
        taken = taken + coalesce(NEW.taken_at, 0) - coalesce(OLD.taken_at, 0)
    WHERE device = NEW.device;
END;

-- The one sealed table that grows with the farm's files: its seal is renewed only when it changed.
CREATE TRIGGER imported_grows AFTER INSERT ON imported BEGIN
    UPDATE seals SET digest = '' WHERE name = 'imported' AND digest <> '';
END;
CREATE TRIGGER imported_shrinks AFTER DELETE ON imported BEGIN
    UPDATE seals SET digest = '' WHERE name = 'imported' AND digest <> '';
END;
CREATE TRIGGER imported_changes AFTER UPDATE ON imported BEGIN
    UPDATE seals SET digest = '' WHERE name = 'imported' AND digest <> '';
END;
