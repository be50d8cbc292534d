PRAGMA application_id = 0x42617764;
PRAGMA user_version = 14;
PRAGMA foreign_keys=OFF;
BEGIN TRANSACTION;
CREATE TABLE alert_steps (
    no    INTEGER PRIMARY KEY,
    alert INTEGER NOT NULL REFERENCES alerts,
    at    INTEGER NOT NULL,
    by    TEXT,
    deed  TEXT NOT NULL
) STRICT;
INSERT INTO alert_steps VALUES(1,1,1772325660000,NULL,'{"did":"opened"}');
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
INSERT INTO alerts VALUES(1,1,'flooding','basin:fig','critical',1772325660000,1772325660000,NULL,1,'{"stage":"open","since":"2026-03-01T00:41:00Z"}',NULL,'{"kind":"flooding","subject":{"basin":"fig"},"severity":"critical","probability":0.7,"estimate":{},"evidence":[]}');
CREATE TABLE backfills (
    cursor TEXT PRIMARY KEY,
    series INTEGER NOT NULL,
    at     INTEGER NOT NULL
) STRICT, WITHOUT ROWID;
INSERT INTO backfills VALUES('influx',2,1772332260000);
CREATE TABLE "cursors" (
    name   TEXT NOT NULL,
    stream TEXT NOT NULL CHECK (stream IN ('readings', 'effects', 'alert-steps')),
    seq    INTEGER NOT NULL,
    PRIMARY KEY (name, stream)
) STRICT, WITHOUT ROWID;
INSERT INTO cursors VALUES('influx','readings',1);
INSERT INTO cursors VALUES('webhook','effects',2);
CREATE TABLE days (
    series INTEGER NOT NULL,
    at     INTEGER NOT NULL,
    count  INTEGER NOT NULL,
    sum    REAL NOT NULL,
    min    REAL NOT NULL,
    max    REAL NOT NULL,
    PRIMARY KEY (series, at)
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
INSERT INTO deliveries VALUES(1,1,'mail','confirmed',1,1772332260000,1772332260000,NULL);
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
INSERT INTO effects VALUES(1,1,'finding',1772325600000,'flooding basin:quince raised','raised','{"kind":"flooding","subject":{"basin":"quince"},"severity":"critical","probability":0.9,"estimate":{},"evidence":[]}');
INSERT INTO effects VALUES(2,1,'finding',1772325660000,'flooding basin:fig raised','raised','{"kind":"flooding","subject":{"basin":"fig"},"severity":"critical","probability":0.7,"estimate":{},"evidence":[]}');
INSERT INTO effects VALUES(3,1,'finding',1772332200000,'flooding basin:quince cleared','cleared','{"kind":"flooding","subject":{"basin":"quince"},"severity":"critical","probability":0.9,"estimate":{},"evidence":[]}');
INSERT INTO effects VALUES(4,1,'dose',1772323800000,'',NULL,'{"at":"2026-03-01T00:10:00Z","litres":null,"shares":{"fig":0.6,"quince":0.4},"quality":0.5}');
INSERT INTO effects VALUES(5,1,'soak',1772323920000,'fig',NULL,'{"basin":"fig","began":"2026-03-01T00:12:00Z","lasted_ms":1800000}');
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
INSERT INTO findings VALUES(1,'flooding','basin:fig',1772325660000,1772325660000,NULL,'{"kind":"flooding","subject":{"basin":"fig"},"severity":"critical","probability":0.7,"estimate":{},"evidence":[]}');
INSERT INTO findings VALUES(1,'flooding','basin:quince',1772325600000,1772332200000,1772332200000,'{"kind":"flooding","subject":{"basin":"quince"},"severity":"critical","probability":0.9,"estimate":{},"evidence":[]}');
CREATE TABLE flow_test_ends (
    test INTEGER NOT NULL REFERENCES flow_tests,
    at   INTEGER NOT NULL,
    by   TEXT NOT NULL
) STRICT;
CREATE TABLE flow_test_runs (
    key    TEXT PRIMARY KEY,
    test   INTEGER NOT NULL REFERENCES flow_tests,
    at     INTEGER NOT NULL,
    by     TEXT NOT NULL,
    caught TEXT NOT NULL
) STRICT;
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
CREATE TABLE forecasts (
    system INTEGER NOT NULL,
    basin  TEXT NOT NULL,
    made   INTEGER NOT NULL,
    body   TEXT NOT NULL,
    PRIMARY KEY (system, basin, made)
) STRICT, WITHOUT ROWID;
CREATE TABLE horizons (
    grain    TEXT PRIMARY KEY CHECK (grain IN ('hour', 'day')),
    gone_to  INTEGER NOT NULL,
    going_to INTEGER NOT NULL,
    swept    INTEGER NOT NULL
) STRICT, WITHOUT ROWID;
INSERT INTO horizons VALUES('day',1614211200000,1614211200000,0);
INSERT INTO horizons VALUES('hour',1737763200000,1737763200000,0);
CREATE TABLE hours (
    series INTEGER NOT NULL,
    at     INTEGER NOT NULL,
    count  INTEGER NOT NULL,
    sum    REAL NOT NULL,
    min    REAL NOT NULL,
    max    REAL NOT NULL, seal INTEGER,
    PRIMARY KEY (series, at)
) STRICT, WITHOUT ROWID;
INSERT INTO hours VALUES(2,1772323200000,12,2.4660000000000001918,0.2000000000000000111,0.21100000000000002087,NULL);
CREATE TABLE identity (
    only INTEGER PRIMARY KEY CHECK (only = 1),
    id   TEXT NOT NULL
) STRICT;
INSERT INTO identity VALUES(1,'5ee55ee55ee55ee5');
CREATE TABLE journal (
    seq      INTEGER PRIMARY KEY,
    received INTEGER NOT NULL,
    entries  BLOB NOT NULL
) STRICT;
INSERT INTO journal VALUES(2,1772332320000,X'01c0eae0f394670001c0a9070001c0a907010101');
CREATE TABLE keys (
    no         INTEGER PRIMARY KEY AUTOINCREMENT,
    token      BLOB NOT NULL UNIQUE,
    person     INTEGER NOT NULL REFERENCES people,
    label      TEXT NOT NULL,
    scopes     TEXT NOT NULL,
    created_at INTEGER NOT NULL,
    ends_at    INTEGER
) STRICT;
CREATE TABLE latest (
    series INTEGER PRIMARY KEY,
    at     INTEGER NOT NULL,
    value  REAL NOT NULL
) STRICT;
INSERT INTO latest VALUES(1,1772332200000,1.0);
INSERT INTO latest VALUES(2,1772331900000,0.2290000000000000091);
CREATE TABLE muted (
    system INTEGER PRIMARY KEY REFERENCES systems,
    since  INTEGER NOT NULL,
    until  INTEGER NOT NULL,
    by     TEXT NOT NULL,
    reason TEXT NOT NULL
) STRICT;
INSERT INTO muted VALUES(1,1772332260000,1772335860000,'Ana','at work');
CREATE TABLE notice_alerts (
    alert  INTEGER NOT NULL REFERENCES alerts,
    notice INTEGER NOT NULL REFERENCES notices,
    PRIMARY KEY (alert, notice)
) STRICT, WITHOUT ROWID;
INSERT INTO notice_alerts VALUES(1,1);
CREATE TABLE notices (
    no        INTEGER PRIMARY KEY,
    at        INTEGER NOT NULL,
    recipient TEXT NOT NULL,
    why       TEXT NOT NULL,
    body      TEXT NOT NULL
) STRICT;
INSERT INTO notices VALUES(1,1772332260000,'ana','opened','{}');
CREATE TABLE passes_used (
    pass TEXT PRIMARY KEY,
    at   INTEGER NOT NULL
) STRICT, WITHOUT ROWID;
CREATE TABLE packed (
    no     INTEGER PRIMARY KEY,
    series INTEGER NOT NULL,
    at     INTEGER NOT NULL,
    until  INTEGER NOT NULL,
    count  INTEGER NOT NULL,
    body   BLOB NOT NULL,
    UNIQUE (series, at)
) STRICT;
CREATE TABLE packing (
    only   INTEGER PRIMARY KEY CHECK (only = 1),
    before INTEGER NOT NULL,
    swept  INTEGER
) STRICT;
INSERT INTO packing VALUES(1,-9223372036854775808,NULL);
CREATE TABLE people (
    no         INTEGER PRIMARY KEY AUTOINCREMENT,
    name       TEXT NOT NULL UNIQUE COLLATE NOCASE,
    role       TEXT NOT NULL CHECK (role IN ('viewer', 'technician', 'manager', 'owner')),
    reach      TEXT,
    password   TEXT NOT NULL,
    created_at INTEGER NOT NULL
) STRICT;
INSERT INTO people VALUES(1,'Ana','owner',NULL,'$argon2id$v=19$m=19456,t=2,p=1$c29tZXNhbHRzb21lc2FsdA$cGFzc3dvcmQ',1772332260000);
CREATE TABLE plan (
    only INTEGER PRIMARY KEY CHECK (only = 1),
    made INTEGER NOT NULL,
    body TEXT NOT NULL
) STRICT;
CREATE TABLE readings (
    series INTEGER NOT NULL,
    at     INTEGER NOT NULL,
    value  REAL NOT NULL,
    PRIMARY KEY (series, at)
) STRICT, WITHOUT ROWID;
INSERT INTO readings VALUES(1,1772332200000,1.0);
INSERT INTO readings VALUES(2,1772323200000,0.2000000000000000111);
INSERT INTO readings VALUES(2,1772323500000,0.20100000000000001199);
INSERT INTO readings VALUES(2,1772323800000,0.20200000000000001287);
INSERT INTO readings VALUES(2,1772324100000,0.20300000000000001376);
INSERT INTO readings VALUES(2,1772324400000,0.20400000000000001465);
INSERT INTO readings VALUES(2,1772324700000,0.20500000000000001554);
INSERT INTO readings VALUES(2,1772325000000,0.20600000000000001643);
INSERT INTO readings VALUES(2,1772325300000,0.20700000000000001731);
INSERT INTO readings VALUES(2,1772325600000,0.2080000000000000182);
INSERT INTO readings VALUES(2,1772325900000,0.20900000000000001909);
INSERT INTO readings VALUES(2,1772326200000,0.21000000000000001998);
INSERT INTO readings VALUES(2,1772326500000,0.21100000000000002087);
INSERT INTO readings VALUES(2,1772326800000,0.21200000000000002176);
INSERT INTO readings VALUES(2,1772327100000,0.21300000000000002264);
INSERT INTO readings VALUES(2,1772327400000,0.21400000000000002353);
INSERT INTO readings VALUES(2,1772327700000,0.21500000000000002442);
INSERT INTO readings VALUES(2,1772328000000,0.21600000000000002531);
INSERT INTO readings VALUES(2,1772328300000,0.2170000000000000262);
INSERT INTO readings VALUES(2,1772328600000,0.21799999999999999933);
INSERT INTO readings VALUES(2,1772328900000,0.21900000000000000022);
INSERT INTO readings VALUES(2,1772329200000,0.22000000000000000111);
INSERT INTO readings VALUES(2,1772329500000,0.22100000000000000199);
INSERT INTO readings VALUES(2,1772329800000,0.22200000000000000288);
INSERT INTO readings VALUES(2,1772330100000,0.22300000000000000377);
INSERT INTO readings VALUES(2,1772330400000,0.22400000000000000466);
INSERT INTO readings VALUES(2,1772330700000,0.22500000000000000555);
INSERT INTO readings VALUES(2,1772331000000,0.22600000000000000643);
INSERT INTO readings VALUES(2,1772331300000,0.22700000000000000732);
INSERT INTO readings VALUES(2,1772331600000,0.22800000000000000821);
INSERT INTO readings VALUES(2,1772331900000,0.2290000000000000091);
CREATE TABLE refusal_samples (
    no     INTEGER PRIMARY KEY,
    at     INTEGER NOT NULL,
    reason TEXT NOT NULL,
    topic  TEXT NOT NULL,
    sample TEXT NOT NULL,
    detail TEXT NOT NULL
) STRICT;
INSERT INTO refusal_samples VALUES(1,1772329200000,'out-of-range','greywater/east/fig/moisture','7','7 is above 1');
CREATE TABLE refusals (
    reason TEXT PRIMARY KEY,
    count  INTEGER NOT NULL
) STRICT, WITHOUT ROWID;
INSERT INTO refusals VALUES('out-of-range',1);
CREATE TABLE rejected_lines (
    no     INTEGER PRIMARY KEY,
    at     INTEGER NOT NULL,
    cursor TEXT NOT NULL,
    line   TEXT NOT NULL,
    why    TEXT NOT NULL
) STRICT;
CREATE TABLE series (
    no       INTEGER PRIMARY KEY,
    system   INTEGER NOT NULL REFERENCES systems,
    sensor   TEXT NOT NULL,
    quantity TEXT NOT NULL,
    UNIQUE (system, sensor)
) STRICT;
INSERT INTO series VALUES(1,1,'quince/float','float');
INSERT INTO series VALUES(2,1,'quince/moisture','moisture');
INSERT INTO series VALUES(3,1,'fig/float','float');
INSERT INTO series VALUES(4,1,'fig/moisture','moisture');
CREATE TABLE service_alerts (
    key   TEXT NOT NULL,
    alert INTEGER NOT NULL REFERENCES alerts,
    PRIMARY KEY (key, alert)
) STRICT, WITHOUT ROWID;
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
CREATE TABLE service_work (
    service INTEGER NOT NULL REFERENCES services,
    work    TEXT NOT NULL,
    PRIMARY KEY (service, work)
) STRICT, WITHOUT ROWID;
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
CREATE TABLE sessions (
    token    BLOB PRIMARY KEY,
    person   INTEGER NOT NULL REFERENCES people,
    began_at INTEGER NOT NULL,
    ends_at  INTEGER NOT NULL
) STRICT, WITHOUT ROWID;
CREATE TABLE snapshots (
    system INTEGER PRIMARY KEY,
    seq    INTEGER NOT NULL,
    state  BLOB NOT NULL
) STRICT;
INSERT INTO snapshots VALUES(1,1,X'74686520656e67696e652061667465722074686520666972737420636f6d6d6974');
CREATE TABLE stale (
    grain  TEXT NOT NULL CHECK (grain IN ('hour', 'day')),
    at     INTEGER NOT NULL,
    series INTEGER NOT NULL,
    PRIMARY KEY (grain, at, series)
) STRICT, WITHOUT ROWID;
INSERT INTO stale VALUES('day',1772323200000,2);
INSERT INTO stale VALUES('hour',1772326800000,2);
INSERT INTO stale VALUES('hour',1772330400000,1);
INSERT INTO stale VALUES('hour',1772330400000,2);
CREATE TABLE systems (
    no INTEGER PRIMARY KEY,
    id TEXT NOT NULL UNIQUE
) STRICT;
INSERT INTO systems VALUES(1,'east');
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
INSERT INTO told VALUES(1,'ana',1772332260000,1772332260000,1,1,0);
CREATE TABLE totals (
    only       INTEGER PRIMARY KEY CHECK (only = 1),
    seq        INTEGER NOT NULL,
    received   INTEGER,
    messages   INTEGER NOT NULL,
    readings   INTEGER NOT NULL,
    duplicates INTEGER NOT NULL,
    unassigned INTEGER NOT NULL
) STRICT;
INSERT INTO totals VALUES(1,2,1772332260000,31,31,0,1);
CREATE TABLE unassigned (
    topic    TEXT PRIMARY KEY,
    first_at INTEGER NOT NULL,
    last_at  INTEGER NOT NULL,
    count    INTEGER NOT NULL,
    sample   TEXT NOT NULL
) STRICT, WITHOUT ROWID;
INSERT INTO unassigned VALUES('greywater/north/plum/float',1772329260000,1772329260000,1,'dry');
CREATE TABLE arrivals (
    series     INTEGER PRIMARY KEY REFERENCES series,
    since      INTEGER NOT NULL,
    last       INTEGER NOT NULL,
    readings   INTEGER NOT NULL,
    repeated   INTEGER NOT NULL,
    late       INTEGER NOT NULL,
    longest_ms INTEGER NOT NULL,
    payloads   TEXT NOT NULL
) STRICT;
DELETE FROM sqlite_sequence;
INSERT INTO sqlite_sequence VALUES('people',1);
CREATE UNIQUE INDEX findings_open ON findings (system, kind, subject) WHERE cleared_at IS NULL;
CREATE INDEX findings_by_time ON findings (raised_at);
CREATE INDEX findings_by_system ON findings (system, raised_at);
CREATE INDEX sessions_by_person ON sessions (person);
CREATE INDEX keys_by_person ON keys (person);
CREATE INDEX alerts_by_subject ON alerts (system, kind, subject, no);
CREATE UNIQUE INDEX alerts_standing ON alerts (system, kind, subject) WHERE closed_at IS NULL;
CREATE INDEX alerts_open ON alerts (no) WHERE closed_at IS NULL;
CREATE INDEX alerts_under ON alerts (under) WHERE under IS NOT NULL;
CREATE INDEX alert_steps_by_alert ON alert_steps (alert, no);
CREATE INDEX notices_by_time ON notices (at);
CREATE INDEX notices_by_recipient ON notices (recipient, why, at);
CREATE INDEX deliveries_waiting ON deliveries (next_at) WHERE state = 'waiting';
CREATE INDEX deliveries_dead ON deliveries (settled_at) WHERE state = 'dead';
CREATE INDEX told_not_over ON told (alert) WHERE over = 0;
CREATE INDEX services_by_system ON services (system, at) WHERE current = 1;
CREATE INDEX services_by_time ON services (at) WHERE current = 1;
CREATE INDEX flow_tests_by_system ON flow_tests (system, began);
CREATE UNIQUE INDEX flow_tests_running ON flow_tests (system) WHERE ended IS NULL;
CREATE INDEX flow_test_runs_by_test ON flow_test_runs (test, at);
CREATE INDEX flow_test_ends_by_test ON flow_test_ends (test, at);
COMMIT;
