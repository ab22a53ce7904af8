-- What a list shows of a run's newest result: the whole without its long parts, short enough to lie in one page. It is made
-- of the result by the trigger and by nothing else.
CREATE TABLE line (
    run_id INTEGER PRIMARY KEY REFERENCES run (id),
    json   TEXT NOT NULL
) STRICT;
INSERT INTO line SELECT run_id, json_remove(json, '$.tilt.budget', '$.nod.budget', '$.rejections', '$.form', '$.turns')
    FROM result WHERE id IN (SELECT max(id) FROM result GROUP BY run_id);
CREATE TRIGGER result_line AFTER INSERT ON result BEGIN
    INSERT OR REPLACE INTO line
        SELECT new.run_id, json_remove(new.json, '$.tilt.budget', '$.nod.budget', '$.rejections', '$.form', '$.turns')
        WHERE new.id = (SELECT max(id) FROM result WHERE run_id = new.run_id);
END;
