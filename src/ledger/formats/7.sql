-- Format 7: flow tests.

-- Water run on purpose. `outcome` is what it came to, as JSON; none while it runs, and none if it was given up.
CREATE TABLE flow_tests (
    no       INTEGER PRIMARY KEY,
    key      TEXT NOT NULL UNIQUE,
    system   INTEGER NOT NULL REFERENCES systems,
    method   TEXT NOT NULL CHECK (method IN ('probes', 'buckets')),
    began    INTEGER NOT NULL,
    by       TEXT NOT NULL,
    litres   REAL,
    note     TEXT NOT NULL,
    ended    INTEGER,
    ended_by TEXT,
    outcome  TEXT
) STRICT;
CREATE INDEX flow_tests_by_system ON flow_tests (system, began);
CREATE UNIQUE INDEX flow_tests_running ON flow_tests (system) WHERE ended IS NULL;

-- What was caught below the outlets in each run of a test by buckets, by basin, as JSON.
CREATE TABLE flow_test_runs (
    key    TEXT PRIMARY KEY,
    test   INTEGER NOT NULL REFERENCES flow_tests,
    at     INTEGER NOT NULL,
    by     TEXT NOT NULL,
    caught TEXT NOT NULL
) STRICT;
CREATE INDEX flow_test_runs_by_test ON flow_test_runs (test, at);
