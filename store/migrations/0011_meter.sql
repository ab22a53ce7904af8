-- How long the spindle has run, as it is kept from a counter or a running signal, and what the counter showed then. One row.
CREATE TABLE meter (
    id      INTEGER PRIMARY KEY CHECK (id = 1),
    hours   REAL NOT NULL CHECK (hours >= 0),
    counter REAL                              -- of the machine's own counter, in hours; NULL: none was read
) STRICT;
INSERT INTO meter (id, hours) SELECT 1, CAST(text AS REAL) FROM event WHERE kind = 'hours' ORDER BY id DESC LIMIT 1;

ALTER TABLE run ADD COLUMN spindle_hours REAL; -- when it began; NULL: not known
