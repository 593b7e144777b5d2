-- Rounds over a network, what they propose to its farms, and how far from even a farm may get.

CREATE TABLE rounds (
    id TEXT NOT NULL PRIMARY KEY,
    network TEXT NOT NULL REFERENCES networks (id),
    -- NULL where the timetable asked for it.
    by_person TEXT REFERENCES people (id),
    state TEXT NOT NULL CHECK (state IN ('asked', 'solving', 'proposed', 'nothing-found', 'failed')),
    asked_at TIMESTAMP NOT NULL,
    -- Its rules, the view as it was frozen and the answer with its certificate, as JSON.
    rules TEXT NOT NULL,
    frozen TEXT NOT NULL,
    answer TEXT,
    -- In words: what it comes to, or why it failed.
    said TEXT NOT NULL DEFAULT '',
    -- Whoever solves it has it until then; afterwards another may take it up.
    leased_until_at TIMESTAMP,
    takes BIGINT NOT NULL DEFAULT 0 CHECK (takes >= 0),
    ended_at TIMESTAMP
);
CREATE INDEX rounds_network ON rounds (network, id);
-- One at a time a network.
CREATE UNIQUE INDEX rounds_under_way ON rounds (network) WHERE state IN ('asked', 'solving');

CREATE TABLE round_timetables (
    network TEXT NOT NULL PRIMARY KEY REFERENCES networks (id),
    every_days BIGINT NOT NULL CHECK (every_days BETWEEN 1 AND 366),
    rules TEXT NOT NULL,
    next_at TIMESTAMP NOT NULL
);

CREATE TABLE proposals (
    id TEXT NOT NULL PRIMARY KEY,
    network TEXT NOT NULL REFERENCES networks (id),
    round TEXT NOT NULL REFERENCES rounds (id),
    number BIGINT NOT NULL CHECK (number >= 1),
    kind TEXT NOT NULL CHECK (kind IN ('loop', 'swap-day')),
    state TEXT NOT NULL CHECK (state IN
        ('open', 'agreed', 'settled', 'declined', 'lapsed', 'fell-through')),
    made_at TIMESTAMP NOT NULL,
    answer_by_at TIMESTAMP NOT NULL,
    ended_at TIMESTAMP,
    -- In words, once it has ended.
    why TEXT NOT NULL DEFAULT '',
    -- Counted up by every act; writing it is the proposal's row lock.
    version BIGINT NOT NULL DEFAULT 1,
    UNIQUE (round, number)
);
CREATE INDEX proposals_network_state ON proposals (network, state, id);

CREATE TABLE proposal_farms (
    proposal TEXT NOT NULL REFERENCES proposals (id),
    farm TEXT NOT NULL REFERENCES farms (id),
    -- In a loop each farm gives to the one with the next number, the last to the first.
    number BIGINT NOT NULL CHECK (number >= 1),
    answer TEXT NOT NULL CHECK (answer IN ('waiting', 'accepted', 'declined')),
    answered_at TIMESTAMP,
    PRIMARY KEY (proposal, farm)
);
CREATE INDEX proposal_farms_farm ON proposal_farms (farm, proposal);

CREATE TABLE proposal_lines (
    proposal TEXT NOT NULL REFERENCES proposals (id),
    number BIGINT NOT NULL CHECK (number >= 1),
    offer TEXT NOT NULL REFERENCES offers (id),
    want TEXT NOT NULL REFERENCES wants (id),
    giver TEXT NOT NULL REFERENCES farms (id),
    taker TEXT NOT NULL REFERENCES farms (id),
    -- As proposed; what is left of it after a settlement is what its hold says.
    count BIGINT NOT NULL CHECK (count BETWEEN 1 AND 1000000),
    unit_value_tenths BIGINT NOT NULL CHECK (unit_value_tenths >= 1),
    -- What one is worth to the want, as the round took it.
    worth BIGINT NOT NULL CHECK (worth >= 0),
    hold TEXT REFERENCES holds (id),
    PRIMARY KEY (proposal, number),
    CHECK (giver <> taker)
);
CREATE INDEX proposal_lines_offer ON proposal_lines (offer);
CREATE INDEX proposal_lines_hold ON proposal_lines (hold);

-- How much a farm may be owed or owe; a farm without a row has no limit of its own.
CREATE TABLE farm_limits (
    farm TEXT NOT NULL PRIMARY KEY REFERENCES farms (id),
    network TEXT NOT NULL REFERENCES networks (id),
    tenths BIGINT NOT NULL CHECK (tenths BETWEEN 0 AND 1000000),
    set_at TIMESTAMP NOT NULL
);
CREATE INDEX farm_limits_network ON farm_limits (network);
