-- Stretches of a run whose spindle angles turned out not to be believed. Times are microseconds, as in the chunks.
CREATE TABLE doubt (
    id      INTEGER PRIMARY KEY,
    run_id  INTEGER NOT NULL REFERENCES run (id),
    code    TEXT NOT NULL CHECK (code <> ''),
    from_us INTEGER NOT NULL,
    to_us   INTEGER NOT NULL CHECK (to_us >= from_us),
    text    TEXT NOT NULL
) STRICT;
CREATE INDEX doubt_run ON doubt (run_id);
