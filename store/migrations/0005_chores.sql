-- When the daemon's own chores were last done, and what was done in a run nobody watched.
CREATE TABLE chore (
    name    TEXT PRIMARY KEY,
    last_us INTEGER NOT NULL
) STRICT, WITHOUT ROWID;

ALTER TABLE run ADD COLUMN readings_gone INTEGER NOT NULL DEFAULT 0 CHECK (readings_gone IN (0, 1)); -- let go when they grew old
ALTER TABLE run ADD COLUMN log TEXT NOT NULL DEFAULT '';                                            -- step by step, a line each
