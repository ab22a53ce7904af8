-- When a person took the event back, in microseconds since 1970-01-01 UTC; NULL: it counts. The row stays as evidence.
ALTER TABLE event ADD COLUMN undone_us INTEGER;
