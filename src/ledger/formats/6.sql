-- Format 6: service records.

-- Every version of every record; a correction is a new one. `key` was made where the record was written, and
-- `body` is the record as JSON. `reason` says why it was corrected or withdrawn.
CREATE TABLE services (
    no         INTEGER PRIMARY KEY,
    key        TEXT NOT NULL,
    version    INTEGER NOT NULL,
    current    INTEGER NOT NULL CHECK (current IN (0, 1)),
    withdrawn  INTEGER NOT NULL CHECK (withdrawn IN (0, 1)),
    system     INTEGER NOT NULL REFERENCES systems,
    subject    TEXT NOT NULL,
    at         INTEGER NOT NULL,
    written_at INTEGER NOT NULL,
    by         TEXT NOT NULL,
    reason     TEXT NOT NULL,
    body       TEXT NOT NULL,
    UNIQUE (key, version)
) STRICT;
CREATE INDEX services_by_system ON services (system, at) WHERE current = 1;
CREATE INDEX services_by_time ON services (at) WHERE current = 1;

-- The kinds of work in each version.
CREATE TABLE service_work (
    service INTEGER NOT NULL REFERENCES services,
    work    TEXT NOT NULL,
    PRIMARY KEY (service, work)
) STRICT, WITHOUT ROWID;

-- Alerts that the work ended.
CREATE TABLE service_alerts (
    key   TEXT NOT NULL,
    alert INTEGER NOT NULL REFERENCES alerts,
    PRIMARY KEY (key, alert)
) STRICT, WITHOUT ROWID;

-- Photographs, a few a record; `print` tells the same one sent again.
CREATE TABLE service_photos (
    key      TEXT NOT NULL,
    no       INTEGER NOT NULL,
    kind     TEXT NOT NULL CHECK (kind IN ('image/jpeg', 'image/png', 'image/webp')),
    print    TEXT NOT NULL,
    added_at INTEGER NOT NULL,
    by       TEXT NOT NULL,
    bytes    BLOB NOT NULL,
    PRIMARY KEY (key, no)
) STRICT;
