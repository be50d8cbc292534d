-- Format 1. Times are milliseconds since 1970-01-01T00:00:00Z.

PRAGMA application_id = 0x42617764;

-- One row: how much was taken in. `seq` counts commits.
CREATE TABLE totals (
    only       INTEGER PRIMARY KEY CHECK (only = 1),
    seq        INTEGER NOT NULL,
    received   INTEGER,
    messages   INTEGER NOT NULL,
    readings   INTEGER NOT NULL,
    duplicates INTEGER NOT NULL,
    unassigned INTEGER NOT NULL
) STRICT;
INSERT INTO totals VALUES (1, 0, NULL, 0, 0, 0, 0);

-- Names and the small numbers that stand for them; never deleted.
CREATE TABLE systems (
    no INTEGER PRIMARY KEY,
    id TEXT NOT NULL UNIQUE
) STRICT;
CREATE TABLE series (
    no       INTEGER PRIMARY KEY,
    system   INTEGER NOT NULL REFERENCES systems,
    sensor   TEXT NOT NULL,
    quantity TEXT NOT NULL,
    UNIQUE (system, sensor)
) STRICT;

CREATE TABLE readings (
    series INTEGER NOT NULL,
    at     INTEGER NOT NULL,
    value  REAL NOT NULL,
    PRIMARY KEY (series, at)
) STRICT, WITHOUT ROWID;
CREATE TABLE latest (
    series INTEGER PRIMARY KEY,
    at     INTEGER NOT NULL,
    value  REAL NOT NULL
) STRICT;

-- Roll-ups by hour and day of UTC. `at` is the beginning; the mean is sum / count.
CREATE TABLE hours (
    series INTEGER NOT NULL,
    at     INTEGER NOT NULL,
    count  INTEGER NOT NULL,
    sum    REAL NOT NULL,
    min    REAL NOT NULL,
    max    REAL NOT NULL,
    PRIMARY KEY (series, at)
) STRICT, WITHOUT ROWID;
CREATE TABLE days (
    series INTEGER NOT NULL,
    at     INTEGER NOT NULL,
    count  INTEGER NOT NULL,
    sum    REAL NOT NULL,
    min    REAL NOT NULL,
    max    REAL NOT NULL,
    PRIMARY KEY (series, at)
) STRICT, WITHOUT ROWID;
-- Hours and days that have to be rolled up, for the first time or again.
CREATE TABLE stale (
    grain  TEXT NOT NULL CHECK (grain IN ('hour', 'day')),
    at     INTEGER NOT NULL,
    series INTEGER NOT NULL,
    PRIMARY KEY (grain, at, series)
) STRICT, WITHOUT ROWID;
-- What was rolled up and deleted: everything before `gone_to`, and for series up to `swept`
-- everything before `going_to`.
CREATE TABLE horizons (
    grain    TEXT PRIMARY KEY CHECK (grain IN ('hour', 'day')),
    gone_to  INTEGER NOT NULL,
    going_to INTEGER NOT NULL,
    swept    INTEGER NOT NULL
) STRICT, WITHOUT ROWID;

-- The way back into the engines: their inputs, one row a commit, and their snapshots after `seq`.
CREATE TABLE journal (
    seq      INTEGER PRIMARY KEY,
    received INTEGER NOT NULL,
    entries  BLOB NOT NULL
) STRICT;
CREATE TABLE snapshots (
    system INTEGER PRIMARY KEY,
    seq    INTEGER NOT NULL,
    state  BLOB NOT NULL
) STRICT;

-- Every conclusion once, in order. `once` tells apart what one system concluded about one instant.
CREATE TABLE effects (
    seq    INTEGER PRIMARY KEY,
    system INTEGER NOT NULL,
    kind   TEXT NOT NULL CHECK (kind IN ('finding', 'dose', 'soak')),
    at     INTEGER NOT NULL,
    once   TEXT NOT NULL,
    change TEXT CHECK (change IN ('raised', 'updated', 'cleared')),
    body   TEXT NOT NULL,
    UNIQUE (system, kind, at, once)
) STRICT;

-- One row for each time that something was wrong, as it is now or was last.
CREATE TABLE findings (
    system     INTEGER NOT NULL,
    kind       TEXT NOT NULL,
    subject    TEXT NOT NULL,
    raised_at  INTEGER NOT NULL,
    changed_at INTEGER NOT NULL,
    cleared_at INTEGER,
    body       TEXT NOT NULL,
    PRIMARY KEY (system, kind, subject, raised_at)
) STRICT, WITHOUT ROWID;
CREATE UNIQUE INDEX findings_open ON findings (system, kind, subject) WHERE cleared_at IS NULL;
CREATE INDEX findings_by_time ON findings (raised_at);
CREATE INDEX findings_by_system ON findings (system, raised_at);

-- How far each reader outside has come: in commits for readings, in effects for effects.
CREATE TABLE cursors (
    name   TEXT NOT NULL,
    stream TEXT NOT NULL CHECK (stream IN ('readings', 'effects')),
    seq    INTEGER NOT NULL,
    PRIMARY KEY (name, stream)
) STRICT, WITHOUT ROWID;

CREATE TABLE refusals (
    reason TEXT PRIMARY KEY,
    count  INTEGER NOT NULL
) STRICT, WITHOUT ROWID;
CREATE TABLE refusal_samples (
    no     INTEGER PRIMARY KEY,
    at     INTEGER NOT NULL,
    reason TEXT NOT NULL,
    topic  TEXT NOT NULL,
    sample TEXT NOT NULL,
    detail TEXT NOT NULL
) STRICT;
CREATE TABLE unassigned (
    topic    TEXT PRIMARY KEY,
    first_at INTEGER NOT NULL,
    last_at  INTEGER NOT NULL,
    count    INTEGER NOT NULL,
    sample   TEXT NOT NULL
) STRICT, WITHOUT ROWID;
