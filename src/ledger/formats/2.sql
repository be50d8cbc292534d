-- Format 2: who may come in. Times are milliseconds since 1970-01-01T00:00:00Z of the machine's own clock.

-- `reach` is a JSON list of properties, NULL for all of them; `password` is an Argon2id hash in PHC string format.
CREATE TABLE people (
    no         INTEGER PRIMARY KEY AUTOINCREMENT,
    name       TEXT NOT NULL UNIQUE COLLATE NOCASE,
    role       TEXT NOT NULL CHECK (role IN ('viewer', 'technician', 'manager', 'owner')),
    reach      TEXT,
    password   TEXT NOT NULL,
    created_at INTEGER NOT NULL
) STRICT;

-- Browsers that are signed in; of the token in their cookie only its SHA-256 is kept.
CREATE TABLE sessions (
    token    BLOB PRIMARY KEY,
    person   INTEGER NOT NULL REFERENCES people,
    began_at INTEGER NOT NULL,
    ends_at  INTEGER NOT NULL
) STRICT, WITHOUT ROWID;
CREATE INDEX sessions_by_person ON sessions (person);

-- Keys that programs carry in somebody's name. `scopes` is a JSON list.
CREATE TABLE keys (
    no         INTEGER PRIMARY KEY AUTOINCREMENT,
    token      BLOB NOT NULL UNIQUE,
    person     INTEGER NOT NULL REFERENCES people,
    label      TEXT NOT NULL,
    scopes     TEXT NOT NULL,
    created_at INTEGER NOT NULL,
    ends_at    INTEGER
) STRICT;
CREATE INDEX keys_by_person ON keys (person);
