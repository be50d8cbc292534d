-- Format 11: readers outside follow the steps of alerts too.

CREATE TABLE cursors_11 (
    name   TEXT NOT NULL,
    stream TEXT NOT NULL CHECK (stream IN ('readings', 'effects', 'alert-steps')),
    seq    INTEGER NOT NULL,
    PRIMARY KEY (name, stream)
) STRICT, WITHOUT ROWID;
INSERT INTO cursors_11 SELECT name, stream, seq FROM cursors;
DROP TABLE cursors;
ALTER TABLE cursors_11 RENAME TO cursors;
