-- Kinds of event are checked by the program, which says what may be written; 'hours' is what the spindle's counter showed.
CREATE TABLE happened (
    id        INTEGER PRIMARY KEY,
    at_us     INTEGER NOT NULL,
    kind      TEXT NOT NULL CHECK (kind <> ''),
    text      TEXT NOT NULL,
    run_id    INTEGER REFERENCES run (id),
    boot_id   TEXT NOT NULL DEFAULT '',
    boot_us   INTEGER NOT NULL DEFAULT 0,
    clock_set INTEGER NOT NULL DEFAULT 1 CHECK (clock_set IN (0, 1))
) STRICT;
INSERT INTO happened SELECT id, at_us, kind, text, run_id, boot_id, boot_us, clock_set FROM event;
DROP TABLE event;
ALTER TABLE happened RENAME TO event;
CREATE INDEX event_run ON event (run_id) WHERE run_id IS NOT NULL;
CREATE INDEX event_undated ON event (boot_id) WHERE clock_set = 0;

ALTER TABLE run ADD COLUMN temperature_c REAL; -- of the machine or the shop when the run began; NULL: not known
