-- What givers are asked when a loss leaves too few for a provisional promise and their own plan, and by
-- which rule a network's holds are cut.

CREATE TABLE questions (
    id TEXT NOT NULL PRIMARY KEY,
    network TEXT NOT NULL REFERENCES networks (id),
    farm TEXT NOT NULL REFERENCES farms (id),
    lot TEXT NOT NULL,
    variety TEXT NOT NULL,
    unit TEXT NOT NULL,
    -- About how many, and what they were reckoned from.
    asked_about BIGINT NOT NULL CHECK (asked_about BETWEEN 1 AND 1000000),
    planned BIGINT NOT NULL CHECK (planned >= 0),
    in_store BIGINT NOT NULL CHECK (in_store >= 0),
    held BIGINT NOT NULL CHECK (held >= 1),
    state TEXT NOT NULL CHECK (state IN ('asked', 'promise-stands', 'need-stands', 'overtaken')),
    asked_at TIMESTAMP NOT NULL,
    -- Silence keeps the promise from then on.
    answer_by_at TIMESTAMP NOT NULL,
    answered_at TIMESTAMP
);
CREATE INDEX questions_farm ON questions (farm, id);
-- One at a time a lot.
CREATE UNIQUE INDEX questions_asked ON questions (farm, lot) WHERE state = 'asked';

-- A network without a row cuts the newest hold first.
CREATE TABLE cut_rules (
    network TEXT NOT NULL PRIMARY KEY REFERENCES networks (id),
    rule TEXT NOT NULL CHECK (rule IN ('newest-first', 'by-shares')),
    set_by TEXT NOT NULL REFERENCES people (id),
    set_at TIMESTAMP NOT NULL
);
