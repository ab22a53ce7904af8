-- The clock of a small computer is often set some time after boot. What was dated before that is dated anew once it is.

ALTER TABLE run ADD COLUMN first_us INTEGER;                      -- started_us as first written, where it was corrected
CREATE INDEX run_undated ON run (boot_id) WHERE clock_set = 0;

ALTER TABLE event ADD COLUMN boot_id TEXT NOT NULL DEFAULT '';
ALTER TABLE event ADD COLUMN boot_us INTEGER NOT NULL DEFAULT 0;
ALTER TABLE event ADD COLUMN clock_set INTEGER NOT NULL DEFAULT 1 CHECK (clock_set IN (0, 1));
CREATE INDEX event_undated ON event (boot_id) WHERE clock_set = 0;
