-- What takers say is wrong with what arrived, and what the owed book has of it: one row a posting, as
-- for hand-overs, so that all of it still sums to zero.

CREATE TABLE claims (
    id TEXT NOT NULL PRIMARY KEY,
    network TEXT NOT NULL REFERENCES networks (id),
    hand_over TEXT NOT NULL REFERENCES hand_overs (id),
    giver TEXT NOT NULL REFERENCES farms (id),
    taker TEXT NOT NULL REFERENCES farms (id),
    kind TEXT NOT NULL CHECK (kind IN ('condition', 'no-eye', 'not-true')),
    count BIGINT NOT NULL CHECK (count BETWEEN 1 AND 1000000),
    words TEXT NOT NULL,
    state TEXT NOT NULL CHECK (state IN ('open', 'granted', 'disputed', 'decided', 'withdrawn')),
    made_at TIMESTAMP NOT NULL,
    -- The giver's silence is a dispute from then on.
    answer_by_at TIMESTAMP NOT NULL,
    -- What the giver wrote.
    answer TEXT NOT NULL DEFAULT '',
    -- How many of them count: what was granted, or what the coordinator decided.
    settled BIGINT CHECK (settled BETWEEN 0 AND count),
    decision TEXT NOT NULL DEFAULT '',
    decided_by TEXT REFERENCES people (id),
    ended_at TIMESTAMP,
    version BIGINT NOT NULL DEFAULT 1,
    CHECK (giver <> taker),
    CHECK ((state IN ('granted', 'decided')) = (settled IS NOT NULL)),
    CHECK ((state = 'decided') = (decided_by IS NOT NULL)),
    CHECK ((state IN ('granted', 'decided', 'withdrawn')) = (ended_at IS NOT NULL))
);
CREATE INDEX claims_hand_over ON claims (hand_over);
CREATE INDEX claims_giver ON claims (giver, id);
CREATE INDEX claims_taker ON claims (taker, id);
CREATE INDEX claims_network ON claims (network, id);

CREATE TABLE claim_postings (
    claim TEXT NOT NULL PRIMARY KEY REFERENCES claims (id),
    hand_over TEXT NOT NULL REFERENCES hand_overs (id),
    network TEXT NOT NULL REFERENCES networks (id),
    from_farm TEXT NOT NULL REFERENCES farms (id),
    to_farm TEXT NOT NULL REFERENCES farms (id),
    tenths BIGINT NOT NULL CHECK (tenths > 0),
    at TIMESTAMP NOT NULL,
    CHECK (from_farm <> to_farm)
);
CREATE INDEX claim_postings_from ON claim_postings (network, from_farm);
CREATE INDEX claim_postings_to ON claim_postings (network, to_farm);

CREATE VIEW owed_book AS
SELECT hand_over AS act, hand_over, network, from_farm, to_farm, tenths, at FROM owed_postings
UNION ALL
SELECT claim AS act, hand_over, network, from_farm, to_farm, tenths, at FROM claim_postings;
