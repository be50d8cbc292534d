-- Format 5: when each basin's mulch is due.

-- What was thought at one time of when a basin would first flood; the newest counts, the others tell how it came.
CREATE TABLE forecasts (
    system INTEGER NOT NULL,
    basin  TEXT NOT NULL,
    made   INTEGER NOT NULL,
    body   TEXT NOT NULL,
    PRIMARY KEY (system, basin, made)
) STRICT, WITHOUT ROWID;
