-- By which channels a farm is told things, and what is to be brought over them: the outbox. A row of
-- it is written in the transaction of the act that it tells of.

CREATE TABLE channels (
    id TEXT NOT NULL PRIMARY KEY,
    farm TEXT NOT NULL REFERENCES farms (id),
    kind TEXT NOT NULL CHECK (kind IN ('mail', 'webhook', 'feed', 'calendar')),
    -- The address of e-mail, or what is called; feeds and calendars are fetched.
    target TEXT CHECK (length(target) BETWEEN 1 AND 2000),
    -- What a channel of e-mail brings.
    takes TEXT CHECK (takes IN ('messages', 'digest', 'both')),
    -- SHA-256 of the secret in the address of a feed or calendar.
    token_hash TEXT UNIQUE,
    -- From this number and the server's own secret comes the one that a webhook's calls are signed with.
    secret_number TEXT,
    state TEXT NOT NULL CHECK (state IN ('unconfirmed', 'open', 'ended')),
    made_at TIMESTAMP NOT NULL,
    confirmed_at TIMESTAMP,
    ended_at TIMESTAMP,
    ended_why TEXT CHECK (ended_why IN ('by-farm', 'by-reader', 'not-confirmed', 'gone')),
    -- When the next weekly letter is due.
    next_digest_at TIMESTAMP,
    CHECK ((kind IN ('mail', 'webhook')) = (target IS NOT NULL)),
    CHECK ((kind = 'mail') = (takes IS NOT NULL)),
    CHECK ((kind IN ('feed', 'calendar')) = (token_hash IS NOT NULL)),
    CHECK ((kind = 'webhook') = (secret_number IS NOT NULL)),
    CHECK ((state = 'ended') = (ended_at IS NOT NULL)),
    CHECK ((ended_at IS NULL) = (ended_why IS NULL))
);
CREATE INDEX channels_farm ON channels (farm, state);
CREATE INDEX channels_target ON channels (target);
CREATE INDEX channels_next_digest_at ON channels (next_digest_at);

CREATE TABLE deliveries (
    id TEXT NOT NULL PRIMARY KEY,
    channel TEXT NOT NULL REFERENCES channels (id),
    what TEXT NOT NULL CHECK (what IN ('message', 'confirmation', 'digest')),
    message TEXT REFERENCES messages (id),
    state TEXT NOT NULL CHECK (state IN
        ('waiting', 'under-way', 'delivered', 'given-up', 'dropped')),
    made_at TIMESTAMP NOT NULL,
    -- Not tried before.
    due_at TIMESTAMP NOT NULL,
    -- Counted up by every server that takes it on; who wants to note how a try ended must name it.
    tries BIGINT NOT NULL DEFAULT 0 CHECK (tries >= 0),
    -- A try that has not ended by then is taken for one whose server went down.
    lease_ends_at TIMESTAMP,
    ended_at TIMESTAMP,
    -- How the last try went, in words for people.
    said TEXT NOT NULL,
    CHECK ((what = 'message') = (message IS NOT NULL)),
    CHECK ((state = 'under-way') = (lease_ends_at IS NOT NULL)),
    CHECK ((state IN ('delivered', 'given-up', 'dropped')) = (ended_at IS NOT NULL)),
    UNIQUE (channel, message)
);
CREATE INDEX deliveries_due ON deliveries (state, due_at);
CREATE INDEX deliveries_channel ON deliveries (channel, state);
CREATE INDEX deliveries_ended_at ON deliveries (ended_at);
