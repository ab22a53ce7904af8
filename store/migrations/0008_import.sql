-- Recorded sweeps that were brought in from files: by what is in them, so that the same one is noticed under any name.
CREATE TABLE import (
    hash   BLOB PRIMARY KEY CHECK (length(hash) = 32), -- SHA-256 of the readings as they are stored
    run_id INTEGER NOT NULL REFERENCES run (id),       -- the latest, where it was brought in again
    file   TEXT NOT NULL
) STRICT, WITHOUT ROWID;
CREATE INDEX import_run ON import (run_id);
