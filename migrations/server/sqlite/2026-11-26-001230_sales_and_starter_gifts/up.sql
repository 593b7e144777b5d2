-- Sales, whose money is recorded once both farms confirm it and never handled; and offers for beginners.

ALTER TABLE offers ADD COLUMN open_to TEXT NOT NULL DEFAULT 'everybody'
    CHECK (open_to IN ('everybody', 'beginners'));

-- What one unit of a hold is sold for, in thousandths of the currency's unit.
CREATE TABLE hold_prices (
    hold TEXT NOT NULL PRIMARY KEY REFERENCES holds (id),
    thousandths INTEGER NOT NULL CHECK (thousandths BETWEEN 1 AND 1000000000),
    currency TEXT NOT NULL CHECK (length(currency) = 3)
) STRICT;

CREATE TABLE payments (
    id TEXT NOT NULL PRIMARY KEY,
    hold TEXT NOT NULL REFERENCES holds (id),
    noted_by TEXT NOT NULL REFERENCES farms (id),
    thousandths INTEGER NOT NULL CHECK (thousandths BETWEEN 1 AND 1000000000),
    currency TEXT NOT NULL CHECK (length(currency) = 3),
    on_day TEXT NOT NULL,
    state TEXT NOT NULL CHECK (state IN ('noted', 'confirmed', 'denied', 'withdrawn')),
    noted_at TEXT NOT NULL,
    ended_at TEXT,
    CHECK ((state = 'noted') = (ended_at IS NULL))
) STRICT;
CREATE INDEX payments_hold ON payments (hold, id);
