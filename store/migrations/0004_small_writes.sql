-- What is written for a chunk is one tree's page instead of two: its number holds the run and the place in it, so that the
-- readings of a run are found without an index.
CREATE TABLE packed (
    id       INTEGER PRIMARY KEY CHECK (id = (run_id << 20 | seq)),
    run_id   INTEGER NOT NULL REFERENCES run (id),
    seq      INTEGER NOT NULL CHECK (seq BETWEEN 0 AND 1048575),
    readings INTEGER NOT NULL CHECK (readings > 0),
    untagged INTEGER NOT NULL CHECK (untagged BETWEEN 0 AND readings),
    data     BLOB NOT NULL
) STRICT;
INSERT INTO packed SELECT run_id << 20 | seq, run_id, seq, readings, untagged, data FROM chunk ORDER BY run_id, seq;
DROP TABLE chunk;
ALTER TABLE packed RENAME TO chunk;

-- One index finds both the runs without an end and the last of each kind.
DROP INDEX run_open;
DROP INDEX run_outcome;
CREATE INDEX run_outcome ON run (outcome, kind);
