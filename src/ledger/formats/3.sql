-- Format 3: alerts, who was told of them, and what still has to be sent.

-- Tells this ledger from every other, in what is sent outside.
CREATE TABLE identity (
    only INTEGER PRIMARY KEY CHECK (only = 1),
    id   TEXT NOT NULL
) STRICT;
INSERT INTO identity VALUES (1, lower(hex(randomblob(8))));

-- Findings on their way through people. `calls` counts how often it called for somebody.
CREATE TABLE alerts (
    no         INTEGER PRIMARY KEY,
    system     INTEGER NOT NULL REFERENCES systems,
    kind       TEXT NOT NULL,
    subject    TEXT NOT NULL,
    severity   TEXT NOT NULL,
    opened_at  INTEGER NOT NULL,
    changed_at INTEGER NOT NULL,
    closed_at  INTEGER,
    calls      INTEGER NOT NULL,
    stage      TEXT NOT NULL,
    under      INTEGER REFERENCES alerts,
    finding    TEXT NOT NULL
) STRICT;
CREATE INDEX alerts_by_subject ON alerts (system, kind, subject, no);
CREATE UNIQUE INDEX alerts_standing ON alerts (system, kind, subject) WHERE closed_at IS NULL;
CREATE INDEX alerts_open ON alerts (no) WHERE closed_at IS NULL;
CREATE INDEX alerts_under ON alerts (under) WHERE under IS NOT NULL;

-- Every step with who (null: the program), when and what.
CREATE TABLE alert_steps (
    no    INTEGER PRIMARY KEY,
    alert INTEGER NOT NULL REFERENCES alerts,
    at    INTEGER NOT NULL,
    by    TEXT,
    deed  TEXT NOT NULL
) STRICT;
CREATE INDEX alert_steps_by_alert ON alert_steps (alert, no);

-- Systems at which somebody is at work, so that nobody is told of anything.
CREATE TABLE muted (
    system INTEGER PRIMARY KEY REFERENCES systems,
    since  INTEGER NOT NULL,
    until  INTEGER NOT NULL,
    by     TEXT NOT NULL,
    reason TEXT NOT NULL
) STRICT;

-- What somebody is told at one time, and the channels that carry it.
CREATE TABLE notices (
    no        INTEGER PRIMARY KEY,
    at        INTEGER NOT NULL,
    recipient TEXT NOT NULL,
    why       TEXT NOT NULL,
    body      TEXT NOT NULL
) STRICT;
CREATE INDEX notices_by_time ON notices (at);
CREATE INDEX notices_by_recipient ON notices (recipient, why, at);
CREATE TABLE notice_alerts (
    alert  INTEGER NOT NULL REFERENCES alerts,
    notice INTEGER NOT NULL REFERENCES notices,
    PRIMARY KEY (alert, notice)
) STRICT, WITHOUT ROWID;
CREATE TABLE deliveries (
    no         INTEGER PRIMARY KEY,
    notice     INTEGER NOT NULL REFERENCES notices,
    channel    TEXT NOT NULL,
    state      TEXT NOT NULL CHECK (state IN ('waiting', 'confirmed', 'dead')),
    tries      INTEGER NOT NULL,
    next_at    INTEGER NOT NULL,
    settled_at INTEGER,
    trouble    TEXT,
    UNIQUE (notice, channel)
) STRICT;
CREATE INDEX deliveries_waiting ON deliveries (next_at) WHERE state = 'waiting';
CREATE INDEX deliveries_dead ON deliveries (settled_at) WHERE state = 'dead';

-- How far each recipient knows of each alert.
CREATE TABLE told (
    alert     INTEGER NOT NULL REFERENCES alerts,
    recipient TEXT NOT NULL,
    first_at  INTEGER NOT NULL,
    last_at   INTEGER NOT NULL,
    calls     INTEGER NOT NULL,
    at_once   INTEGER NOT NULL,
    over      INTEGER NOT NULL,
    PRIMARY KEY (alert, recipient)
) STRICT, WITHOUT ROWID;
CREATE INDEX told_not_over ON told (alert) WHERE over = 0;

-- Links that acknowledge with one click, once used.
CREATE TABLE passes_used (
    pass TEXT PRIMARY KEY,
    at   INTEGER NOT NULL
) STRICT, WITHOUT ROWID;

-- What stands already becomes an alert each.
INSERT INTO alerts (system, kind, subject, severity, opened_at, changed_at, closed_at, calls, stage, under, finding)
SELECT system, kind, subject, json_extract(body, '$.severity'), raised_at, changed_at, NULL, 1,
       json_object('stage', 'open', 'since', strftime('%Y-%m-%dT%H:%M:%SZ', raised_at / 1000, 'unixepoch')),
       NULL, body
FROM findings WHERE cleared_at IS NULL ORDER BY raised_at, system, kind, subject;
INSERT INTO alert_steps (alert, at, by, deed)
SELECT no, opened_at, NULL, '{"did":"opened"}' FROM alerts ORDER BY no;
