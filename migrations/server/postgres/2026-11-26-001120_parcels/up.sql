-- How what was agreed travels: terms, frost date, pause, and how it came.

CREATE TABLE parcels (
    hold TEXT NOT NULL PRIMARY KEY REFERENCES holds (id),
    state TEXT NOT NULL CHECK (state IN
        ('proposed', 'agreed', 'packed', 'sent', 'arrived', 'lost', 'frozen')),
    post TEXT NOT NULL CHECK (post IN ('giver', 'taker', 'halves')),
    frost TEXT NOT NULL CHECK (frost IN ('giver', 'taker')),
    not_before TEXT CHECK (length(not_before) = 10),
    -- Who proposed the terms; the other agrees.
    terms_by TEXT NOT NULL REFERENCES farms (id),
    paused_until TEXT CHECK (length(paused_until) = 10),
    paused_by TEXT REFERENCES farms (id),
    pause_why TEXT NOT NULL DEFAULT '',
    version BIGINT NOT NULL DEFAULT 1,
    CHECK ((paused_until IS NULL) = (paused_by IS NULL))
);
