-- What was moved, by adjuster (JSON object of amounts), and the newest run when it was logged: the order of runs and moves
-- must not hang on a clock that may be set between them.
ALTER TABLE event ADD COLUMN moved TEXT CHECK (moved IS NULL OR json_valid(moved));
ALTER TABLE event ADD COLUMN after_run INTEGER NOT NULL DEFAULT 0;
UPDATE event SET after_run = coalesce((SELECT max(id) FROM run WHERE run.started_us <= event.at_us), 0);
CREATE INDEX event_after ON event (after_run);
