-- Who there is: people, their sign-ins, networks, invitations, farms, devices; and what keeps one
-- act from being done twice. Secrets are kept as SHA-256 only, written in hexadecimal.

CREATE TABLE server_state (
    name TEXT NOT NULL PRIMARY KEY,
    value TEXT NOT NULL
) STRICT;

CREATE TABLE idempotency (
    caller TEXT NOT NULL,
    act_key TEXT NOT NULL,
    fingerprint TEXT NOT NULL,
    -- NULL only inside the transaction that does the act.
    result TEXT,
    made_at TEXT NOT NULL,
    PRIMARY KEY (caller, act_key)
) STRICT;
CREATE INDEX idempotency_made_at ON idempotency (made_at);

CREATE TABLE set_up_tokens (
    token_hash TEXT NOT NULL PRIMARY KEY,
    made_at TEXT NOT NULL,
    used_at TEXT
) STRICT;

CREATE TABLE networks (
    id TEXT NOT NULL PRIMARY KEY,
    name TEXT NOT NULL CHECK (length(name) BETWEEN 1 AND 80),
    made_at TEXT NOT NULL
) STRICT;

CREATE TABLE farms (
    id TEXT NOT NULL PRIMARY KEY,
    network TEXT NOT NULL REFERENCES networks (id),
    name TEXT NOT NULL CHECK (length(name) BETWEEN 1 AND 80),
    -- The device on whose chain the server writes; its row is in devices.
    house_device TEXT NOT NULL,
    -- The position of the newest entry. Writing it is the farm's row lock.
    newest_position INTEGER NOT NULL DEFAULT 0 CHECK (newest_position >= 0),
    joined_at TEXT NOT NULL
) STRICT;
CREATE INDEX farms_network ON farms (network);

CREATE TABLE people (
    id TEXT NOT NULL PRIMARY KEY,
    login TEXT NOT NULL,
    -- The login with case, accents and spaces folded away: single over the whole server.
    login_key TEXT NOT NULL UNIQUE,
    display_name TEXT NOT NULL,
    password_hash TEXT NOT NULL,
    role TEXT NOT NULL CHECK (role IN ('coordinator', 'grower')),
    network TEXT REFERENCES networks (id),
    farm TEXT REFERENCES farms (id),
    made_at TEXT NOT NULL
) STRICT;
CREATE INDEX people_network ON people (network);
CREATE INDEX people_farm ON people (farm);

CREATE TABLE sign_in_families (
    id TEXT NOT NULL PRIMARY KEY,
    person TEXT NOT NULL REFERENCES people (id),
    -- The number of the refresh token that works next.
    newest INTEGER NOT NULL CHECK (newest >= 1),
    rotated_at TEXT NOT NULL,
    expires_at TEXT NOT NULL,
    ended_at TEXT,
    ended_why TEXT CHECK (ended_why IN ('signed-out', 'reused', 'password-changed')),
    CHECK ((ended_at IS NULL) = (ended_why IS NULL))
) STRICT;
CREATE INDEX sign_in_families_person ON sign_in_families (person);
CREATE INDEX sign_in_families_expires_at ON sign_in_families (expires_at);

CREATE TABLE web_sessions (
    token_hash TEXT NOT NULL PRIMARY KEY,
    person TEXT NOT NULL REFERENCES people (id),
    csrf_hash TEXT NOT NULL,
    made_at TEXT NOT NULL,
    expires_at TEXT NOT NULL
) STRICT;
CREATE INDEX web_sessions_person ON web_sessions (person);
CREATE INDEX web_sessions_expires_at ON web_sessions (expires_at);

CREATE TABLE invitations (
    id TEXT NOT NULL PRIMARY KEY,
    network TEXT NOT NULL REFERENCES networks (id),
    invited_by TEXT NOT NULL REFERENCES people (id),
    for_whom TEXT NOT NULL,
    code_hash TEXT NOT NULL UNIQUE,
    made_at TEXT NOT NULL,
    expires_at TEXT NOT NULL,
    used_at TEXT,
    used_by TEXT REFERENCES farms (id),
    withdrawn_at TEXT,
    CHECK ((used_at IS NULL) = (used_by IS NULL)),
    CHECK (used_at IS NULL OR withdrawn_at IS NULL)
) STRICT;
CREATE INDEX invitations_network ON invitations (network);

CREATE TABLE devices (
    id TEXT NOT NULL PRIMARY KEY,
    farm TEXT NOT NULL REFERENCES farms (id),
    kind TEXT NOT NULL CHECK (kind IN ('farm', 'house')),
    name TEXT NOT NULL,
    token_hash TEXT UNIQUE,
    registered_at TEXT NOT NULL,
    shut_out_at TEXT,
    CHECK ((kind = 'house') = (token_hash IS NULL))
) STRICT;
CREATE INDEX devices_farm ON devices (farm);
