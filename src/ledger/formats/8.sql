-- Format 8: the plan of visits.

-- The plan that stands, as JSON: the next one keeps its days where it can.
CREATE TABLE plan (
    only INTEGER PRIMARY KEY CHECK (only = 1),
    made INTEGER NOT NULL,
    body TEXT NOT NULL
) STRICT;
