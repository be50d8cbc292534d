-- Format 9: readings that have settled, packed.

-- The readings of one series in `at` to `until`, whole hours of UTC; spans of a series never overlap. What came for
-- such a span afterwards lies in `readings` until it is packed as well. The hours of a span are worked out of it, and
-- stand in `hours` only once the block is gone. Not WITHOUT ROWID: bodies are large, and appending keeps pages full.
CREATE TABLE packed (
    no     INTEGER PRIMARY KEY,
    series INTEGER NOT NULL,
    at     INTEGER NOT NULL,
    until  INTEGER NOT NULL,
    count  INTEGER NOT NULL,
    body   BLOB NOT NULL,
    UNIQUE (series, at)
) STRICT;

-- One row: nothing at or after `before` is packed, and series after `swept` may hold more before it; null when none do.
CREATE TABLE packing (
    only   INTEGER PRIMARY KEY CHECK (only = 1),
    before INTEGER NOT NULL,
    swept  INTEGER
) STRICT;
INSERT INTO packing VALUES (1, -9223372036854775808, NULL);
