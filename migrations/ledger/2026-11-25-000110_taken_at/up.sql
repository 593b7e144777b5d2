-- When the server took an entry, by its clock; unknown until it was seen in the feed.
ALTER TABLE entries ADD COLUMN taken_at INTEGER;
-- A parked entry waits to be looked at, or its fact stands in the book again under another place.
ALTER TABLE parked ADD COLUMN state TEXT NOT NULL DEFAULT 'waiting'
    CHECK (state IN ('waiting', 'noted_again'));
UPDATE parked SET state = 'noted_again' WHERE code = 'fork';
