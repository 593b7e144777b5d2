-- What is brought to a swap day without having been planned: an offer like any other, until the day is over.

CREATE TABLE walk_ups (
    offer TEXT NOT NULL PRIMARY KEY REFERENCES offers (id),
    proposal TEXT NOT NULL REFERENCES proposals (id)
) STRICT;
CREATE INDEX walk_ups_proposal ON walk_ups (proposal, offer);
