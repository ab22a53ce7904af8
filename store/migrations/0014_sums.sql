-- A checksum over each row, so that a spoiled bit is noticed (sum.go keeps it by triggers). No sum: never checked, not sound.
ALTER TABLE run    ADD COLUMN sum INTEGER;
ALTER TABLE result ADD COLUMN sum INTEGER;
ALTER TABLE line   ADD COLUMN sum INTEGER;
ALTER TABLE event  ADD COLUMN sum INTEGER;
ALTER TABLE doubt  ADD COLUMN sum INTEGER;
ALTER TABLE meter  ADD COLUMN sum INTEGER;
ALTER TABLE zero   ADD COLUMN sum INTEGER;

ALTER TABLE run ADD COLUMN subject TEXT NOT NULL DEFAULT '';    -- what was measured, by its configured name: "left rail"
ALTER TABLE run ADD COLUMN missing INTEGER NOT NULL DEFAULT 0;  -- readings of the run that were lost with a damaged file
ALTER TABLE run ADD COLUMN origin TEXT NOT NULL DEFAULT '';     -- the file it was brought in from; a note is a person's
UPDATE run SET origin = substr(note, 15), note = '' WHERE boot_id = '' AND note LIKE 'imported from %';
CREATE INDEX run_subject ON run (kind, subject);

-- A list shows a result without its long parts, of whatever kind.
DROP TRIGGER result_line;
CREATE TRIGGER result_line AFTER INSERT ON result BEGIN
    INSERT OR REPLACE INTO line (run_id, json)
        SELECT new.run_id, json_remove(new.json, '$.tilt.budget', '$.nod.budget', '$.rejections', '$.form', '$.turns',
            '$.edge_form', '$.detail')
        WHERE new.id = (SELECT max(id) FROM result WHERE run_id = new.run_id);
END;
