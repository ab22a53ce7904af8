-- Where 0 degrees of an encoder is, as a person pointed it out: the arm to the right, then towards the back.
CREATE TABLE zero (
    id        INTEGER PRIMARY KEY,
    at_us     INTEGER NOT NULL,
    clock_set INTEGER NOT NULL CHECK (clock_set IN (0, 1)),
    setup_id  INTEGER NOT NULL REFERENCES setup (id),
    encoder   TEXT NOT NULL,                     -- which encoder, and how it is driven
    zero_deg  REAL NOT NULL,                     -- the spindle angle at which it showed 0
    reversed  INTEGER NOT NULL CHECK (reversed IN (0, 1)),
    index_deg REAL                               -- the spindle angle at its index mark; NULL: no mark has kept it
) STRICT;
