-- Farms that keep their books on paper, for which the coordinator acts with their consent, on record.

CREATE TABLE farms_on_paper (
    farm TEXT NOT NULL PRIMARY KEY REFERENCES farms (id),
    network TEXT NOT NULL REFERENCES networks (id),
    -- Who consented, how, and on which day.
    consent_by TEXT NOT NULL,
    consent_how TEXT NOT NULL,
    consent_on TEXT NOT NULL,
    noted_by TEXT NOT NULL REFERENCES people (id),
    noted_at TEXT NOT NULL,
    -- Once the consent is taken back nobody acts for it any more.
    ended_at TEXT,
    ended_why TEXT NOT NULL DEFAULT ''
) STRICT;
CREATE INDEX farms_on_paper_network ON farms_on_paper (network, farm);

-- Who acted for which of them from when; never changed and never pruned.
CREATE TABLE stand_ins (
    id TEXT NOT NULL PRIMARY KEY,
    farm TEXT NOT NULL REFERENCES farms (id),
    person TEXT NOT NULL REFERENCES people (id),
    began_at TEXT NOT NULL
) STRICT;
CREATE INDEX stand_ins_farm ON stand_ins (farm, id);

ALTER TABLE sign_in_families ADD COLUMN acts_for TEXT REFERENCES farms (id);
ALTER TABLE web_sessions ADD COLUMN acts_for TEXT REFERENCES farms (id);
