-- The line for an offer of which not enough is free: what comes free is held for the first in it.

CREATE TABLE turns (
    id TEXT NOT NULL PRIMARY KEY,
    network TEXT NOT NULL REFERENCES networks (id),
    offer TEXT NOT NULL REFERENCES offers (id),
    taker TEXT NOT NULL REFERENCES farms (id),
    want TEXT REFERENCES wants (id),
    count BIGINT NOT NULL CHECK (count BETWEEN 1 AND 1000000),
    purpose TEXT NOT NULL,
    unit_value_tenths BIGINT NOT NULL CHECK (unit_value_tenths >= 0),
    note TEXT NOT NULL,
    -- Its place in the line.
    asked_at TIMESTAMP NOT NULL,
    state TEXT NOT NULL CHECK (state IN ('waiting', 'called', 'left', 'closed')),
    -- What came free for it.
    hold TEXT REFERENCES holds (id),
    CHECK ((state = 'called') = (hold IS NOT NULL))
);
CREATE INDEX turns_offer ON turns (offer, state, asked_at);
CREATE INDEX turns_taker ON turns (taker, id);
-- A farm waits once for an offer.
CREATE UNIQUE INDEX turns_waiting ON turns (offer, taker) WHERE state = 'waiting';
