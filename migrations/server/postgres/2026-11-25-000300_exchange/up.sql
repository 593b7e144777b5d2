-- Spare that is passed round. The CHECK on offers is the last guard of "never promised twice".

CREATE TABLE offers (
    id TEXT NOT NULL PRIMARY KEY,
    network TEXT NOT NULL REFERENCES networks (id),
    farm TEXT NOT NULL REFERENCES farms (id),
    lot TEXT NOT NULL,
    variety TEXT NOT NULL,
    variety_key TEXT NOT NULL,
    identity TEXT NOT NULL CHECK (identity IN ('sure', 'unsure')),
    unit TEXT NOT NULL,
    count BIGINT NOT NULL CHECK (count BETWEEN 0 AND 1000000),
    -- Promised to holds that live, and handed over already.
    held BIGINT NOT NULL DEFAULT 0 CHECK (held >= 0),
    passed BIGINT NOT NULL DEFAULT 0 CHECK (passed >= 0),
    smallest_parcel BIGINT NOT NULL CHECK (smallest_parcel >= 1),
    conditions TEXT NOT NULL,
    state TEXT NOT NULL CHECK (state IN ('open', 'withdrawn', 'closed', 'set-aside')),
    made_at TIMESTAMP NOT NULL,
    -- Counted up by every act; writing it is the offer's row lock.
    version BIGINT NOT NULL DEFAULT 1,
    CHECK (held + passed <= count)
);
CREATE INDEX offers_network_state ON offers (network, state, id);
CREATE INDEX offers_farm ON offers (farm, lot);

CREATE TABLE wants (
    id TEXT NOT NULL PRIMARY KEY,
    network TEXT NOT NULL REFERENCES networks (id),
    farm TEXT NOT NULL REFERENCES farms (id),
    variety TEXT NOT NULL,
    variety_key TEXT NOT NULL,
    -- A JSON list of names, best first.
    instead TEXT NOT NULL,
    unit TEXT NOT NULL,
    count BIGINT NOT NULL CHECK (count BETWEEN 1 AND 1000000),
    -- Received for it so far.
    received BIGINT NOT NULL DEFAULT 0 CHECK (received >= 0),
    needed_by TEXT CHECK (length(needed_by) = 10),
    conditions TEXT NOT NULL,
    state TEXT NOT NULL CHECK (state IN ('open', 'filled', 'withdrawn')),
    made_at TIMESTAMP NOT NULL
);
CREATE INDEX wants_network_state ON wants (network, state, id);
CREATE INDEX wants_farm ON wants (farm);

-- A hold's terms. Never edited: what happens to it is in hold_steps.
CREATE TABLE holds (
    id TEXT NOT NULL PRIMARY KEY,
    network TEXT NOT NULL REFERENCES networks (id),
    offer TEXT NOT NULL REFERENCES offers (id),
    want TEXT REFERENCES wants (id),
    giver TEXT NOT NULL REFERENCES farms (id),
    taker TEXT NOT NULL REFERENCES farms (id),
    count BIGINT NOT NULL CHECK (count BETWEEN 1 AND 1000000),
    purpose TEXT NOT NULL,
    unit_value_tenths BIGINT NOT NULL CHECK (unit_value_tenths >= 0),
    -- Its place in the line; a hold cut down keeps the place of the one it comes from.
    asked_at TIMESTAMP NOT NULL,
    lapses_at TIMESTAMP NOT NULL,
    cut_from TEXT REFERENCES holds (id),
    note TEXT NOT NULL,
    CHECK (giver <> taker)
);
CREATE INDEX holds_offer ON holds (offer);
CREATE INDEX holds_giver ON holds (giver, id);
CREATE INDEX holds_taker ON holds (taker, id);
CREATE INDEX holds_want ON holds (want);
CREATE INDEX holds_lapses_at ON holds (lapses_at);

CREATE TABLE hold_steps (
    hold TEXT NOT NULL REFERENCES holds (id),
    number BIGINT NOT NULL CHECK (number >= 1),
    state TEXT NOT NULL CHECK (state IN
        ('held', 'agreed', 'handed-over', 'received', 'released', 'lapsed', 'cut')),
    at TIMESTAMP NOT NULL,
    -- NULL where the server acted by itself.
    by_farm TEXT REFERENCES farms (id),
    why TEXT NOT NULL,
    PRIMARY KEY (hold, number)
);

-- Every hold with the state it is in: its last step.
CREATE VIEW hold_now AS
SELECT holds.*, last.number AS step, last.state, last.at AS since
FROM holds
JOIN hold_steps AS last ON last.hold = holds.id
WHERE NOT EXISTS (
    SELECT 1 FROM hold_steps AS later WHERE later.hold = last.hold AND later.number > last.number
);

CREATE TABLE hand_overs (
    id TEXT NOT NULL PRIMARY KEY,
    network TEXT NOT NULL REFERENCES networks (id),
    hold TEXT NOT NULL UNIQUE REFERENCES holds (id),
    giver TEXT NOT NULL REFERENCES farms (id),
    taker TEXT NOT NULL REFERENCES farms (id),
    given BIGINT NOT NULL CHECK (given BETWEEN 1 AND 1000000),
    given_on TEXT NOT NULL CHECK (length(given_on) = 10),
    condition TEXT NOT NULL,
    -- The entry in the giver's ledger.
    entry TEXT NOT NULL,
    given_at TIMESTAMP NOT NULL
);
CREATE INDEX hand_overs_giver ON hand_overs (giver);
CREATE INDEX hand_overs_taker ON hand_overs (taker);

CREATE TABLE receipts (
    hand_over TEXT NOT NULL PRIMARY KEY REFERENCES hand_overs (id),
    taker TEXT NOT NULL REFERENCES farms (id),
    received BIGINT NOT NULL CHECK (received BETWEEN 0 AND 1000000),
    received_on TEXT NOT NULL CHECK (length(received_on) = 10),
    condition TEXT NOT NULL,
    -- The lot and the entry in the taker's ledger; none if nothing arrived.
    lot TEXT,
    entry TEXT,
    received_at TIMESTAMP NOT NULL,
    CHECK ((received = 0) = (lot IS NULL)),
    CHECK ((lot IS NULL) = (entry IS NULL))
);

-- The owed book. One row a posting, so that it sums to zero by construction.
CREATE TABLE owed_postings (
    hand_over TEXT NOT NULL PRIMARY KEY REFERENCES hand_overs (id),
    network TEXT NOT NULL REFERENCES networks (id),
    from_farm TEXT NOT NULL REFERENCES farms (id),
    to_farm TEXT NOT NULL REFERENCES farms (id),
    tenths BIGINT NOT NULL CHECK (tenths > 0),
    at TIMESTAMP NOT NULL,
    CHECK (from_farm <> to_farm)
);
CREATE INDEX owed_postings_network ON owed_postings (network);

CREATE TABLE messages (
    id TEXT NOT NULL PRIMARY KEY,
    farm TEXT NOT NULL REFERENCES farms (id),
    at TIMESTAMP NOT NULL,
    body TEXT NOT NULL,
    hold TEXT REFERENCES holds (id)
);
CREATE INDEX messages_farm ON messages (farm, id);
