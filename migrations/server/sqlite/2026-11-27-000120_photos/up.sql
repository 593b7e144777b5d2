-- Photos that a farm puts beside an offer, what it handed over or received, or a claim. They are kept
-- as one kind of file, without anything that a camera wrote about where and when.

CREATE TABLE photos (
    id TEXT NOT NULL PRIMARY KEY,
    farm TEXT NOT NULL REFERENCES farms (id),
    offer TEXT REFERENCES offers (id),
    hold TEXT REFERENCES holds (id),
    claim TEXT REFERENCES claims (id),
    width INTEGER NOT NULL CHECK (width > 0),
    height INTEGER NOT NULL CHECK (height > 0),
    picture BLOB NOT NULL,
    made_at TEXT NOT NULL,
    CHECK ((offer IS NULL) + (hold IS NULL) + (claim IS NULL) = 2)
) STRICT;
CREATE INDEX photos_offer ON photos (offer, id);
CREATE INDEX photos_hold ON photos (hold, id);
CREATE INDEX photos_claim ON photos (claim, id);
CREATE INDEX photos_farm ON photos (farm);
