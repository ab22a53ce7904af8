-- Times of day are microseconds since 1970-01-01 UTC.

CREATE TABLE setup (
    id        INTEGER PRIMARY KEY,
    hash      BLOB NOT NULL UNIQUE CHECK (length(hash) = 32), -- SHA-256 of json, a zero byte, tolerance
    json      TEXT NOT NULL CHECK (json_valid(json)),
    tolerance TEXT NOT NULL                                   -- as written: "0.02/300"; empty = none
) STRICT;

CREATE TABLE run (
    id         INTEGER PRIMARY KEY AUTOINCREMENT,             -- a number once shown is never given out again
    kind       TEXT NOT NULL CHECK (kind <> ''),
    purpose    TEXT NOT NULL,
    setup_id   INTEGER NOT NULL REFERENCES setup (id),
    started_us INTEGER NOT NULL,
    ended_us   INTEGER,
    boot_id    TEXT NOT NULL,
    boot_us    INTEGER NOT NULL,                              -- since that boot, on a clock nobody sets
    clock_set  INTEGER NOT NULL CHECK (clock_set IN (0, 1)),  -- whether started_us can be believed
    outcome    TEXT NOT NULL DEFAULT '' CHECK (outcome IN ('', 'finished', 'abandoned', 'failed', 'interrupted')),
    why        TEXT NOT NULL DEFAULT '',
    note       TEXT NOT NULL DEFAULT '',
    readings   INTEGER NOT NULL DEFAULT 0,                    -- both filled in when the run ends,
    untagged   INTEGER NOT NULL DEFAULT 0                     -- until then the chunks are counted
) STRICT;
CREATE INDEX run_outcome ON run (kind, outcome);
CREATE INDEX run_open ON run (id) WHERE outcome = '';

-- Kept as runs end, so that the counts cost nothing to read and do not fall when old runs are one day removed.
CREATE TABLE run_count (
    kind    TEXT NOT NULL,
    outcome TEXT NOT NULL,
    runs    INTEGER NOT NULL,
    PRIMARY KEY (kind, outcome)
) STRICT, WITHOUT ROWID;

CREATE TABLE chunk (
    id       INTEGER PRIMARY KEY,
    run_id   INTEGER NOT NULL REFERENCES run (id),
    seq      INTEGER NOT NULL CHECK (seq >= 0),
    readings INTEGER NOT NULL CHECK (readings > 0),
    untagged INTEGER NOT NULL CHECK (untagged BETWEEN 0 AND readings),
    data     BLOB NOT NULL,
    UNIQUE (run_id, seq)
) STRICT;

CREATE TABLE result (
    id            INTEGER PRIMARY KEY,
    run_id        INTEGER NOT NULL REFERENCES run (id),
    model         TEXT NOT NULL,
    model_version INTEGER NOT NULL,
    json          TEXT NOT NULL CHECK (json_valid(json)),
    cov_tilt      REAL,                                       -- covariance of tilt and nod, slope squared;
    cov_tilt_nod  REAL,                                       -- all three or none
    cov_nod       REAL
) STRICT;
CREATE INDEX result_run ON result (run_id);

CREATE TABLE event (
    id     INTEGER PRIMARY KEY,
    at_us  INTEGER NOT NULL,
    kind   TEXT NOT NULL CHECK (kind IN ('adjusted', 'crashed', 'serviced', 'moved', 'note')),
    text   TEXT NOT NULL,
    run_id INTEGER REFERENCES run (id)
) STRICT;
CREATE INDEX event_run ON event (run_id) WHERE run_id IS NOT NULL;
