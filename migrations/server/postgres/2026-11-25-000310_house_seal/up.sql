-- The key of the seal on what the server writes into ledgers. It goes into every copy of the
-- database, so that a server put back from one knows again what it wrote since.
CREATE TABLE house_seal (
    name TEXT NOT NULL PRIMARY KEY CHECK (name = 'house'),
    seal_key TEXT NOT NULL CHECK (length(seal_key) = 64)
);
