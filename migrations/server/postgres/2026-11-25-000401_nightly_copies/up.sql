-- One row for every day's copy of the database. Writing it is how one of several replicas takes it.
CREATE TABLE nightly_copies (
    -- The day for which the copy is, in the zone of the server that makes it.
    day TEXT NOT NULL PRIMARY KEY CHECK (length(day) = 10),
    state TEXT NOT NULL CHECK (state IN ('under-way', 'done', 'failed')),
    -- When it began, then when it ended.
    since TIMESTAMP NOT NULL,
    -- What is in the copy, or why there is none, in words for people.
    said TEXT NOT NULL
);
