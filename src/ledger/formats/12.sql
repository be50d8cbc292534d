-- Format 12: flow tests remember when somebody said that the water is off.

CREATE TABLE flow_test_ends (
    test INTEGER NOT NULL REFERENCES flow_tests,
    at   INTEGER NOT NULL,
    by   TEXT NOT NULL
) STRICT;
CREATE INDEX flow_test_ends_by_test ON flow_test_ends (test, at);
