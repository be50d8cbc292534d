-- Format 4: passing everything on.

-- Readers that pass everything on: where each is in the readings of the past, until it has them all.
CREATE TABLE backfills (
    cursor TEXT PRIMARY KEY,
    series INTEGER NOT NULL,
    at     INTEGER NOT NULL
) STRICT, WITHOUT ROWID;
-- The newest lines that a server outside refused for good.
CREATE TABLE rejected_lines (
    no     INTEGER PRIMARY KEY,
    at     INTEGER NOT NULL,
    cursor TEXT NOT NULL,
    line   TEXT NOT NULL,
    why    TEXT NOT NULL
) STRICT;
