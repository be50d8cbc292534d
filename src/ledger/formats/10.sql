-- Format 10: how readings arrive.

-- Of each sensor since the first arrival counted: readings, how many of them were there already, how many came long
-- after they were measured and the longest such delay; and the last payloads, newest first, a line each of time of
-- arrival, tab and the payload's beginning. The last line may be cut short.
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
