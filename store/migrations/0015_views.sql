-- For whoever opens a record with sqlite3 or a notebook: SI units (radians, metres, seconds) and ISO 8601 times in UTC. See FORMAT.md.
CREATE VIEW sweeps AS SELECT run.id AS run, run.kind, run.subject, run.purpose, run.outcome,
    CASE WHEN run.clock_set THEN strftime('%Y-%m-%dT%H:%M:%fZ', run.started_us / 1e6, 'unixepoch') END AS started,
    CASE WHEN run.clock_set THEN strftime('%Y-%m-%dT%H:%M:%fZ', run.ended_us / 1e6, 'unixepoch') END AS ended,
    setup.json ->> '$.machine' AS machine, setup.json ->> '$.surface' AS surface, setup.tolerance,
    line.json ->> '$.tilt.mm_per_m' / 1000.0 AS tilt_rad, line.json ->> '$.tilt.u_mm_per_m' / 1000.0 AS tilt_u_rad,
    line.json ->> '$.tilt.U_mm_per_m' / 1000.0 AS tilt_expanded_rad,
    line.json ->> '$.nod.mm_per_m' / 1000.0 AS nod_rad, line.json ->> '$.nod.u_mm_per_m' / 1000.0 AS nod_u_rad,
    line.json ->> '$.nod.U_mm_per_m' / 1000.0 AS nod_expanded_rad,
    line.json ->> '$.dof' AS dof, line.json ->> '$.verdict' AS verdict, run.readings, run.missing AS readings_missing,
    run.temperature_c + 273.15 AS temperature_k, run.spindle_hours * 3600 AS spindle_s, line.json AS result
    FROM run JOIN setup ON setup.id = run.setup_id LEFT JOIN line ON line.run_id = run.id;
CREATE VIEW checks AS SELECT * FROM sweeps WHERE kind = 'sweep' AND purpose = 'check' AND outcome = 'finished' AND started IS NOT NULL;
CREATE VIEW events AS SELECT event.id AS event,
    CASE WHEN clock_set THEN strftime('%Y-%m-%dT%H:%M:%fZ', at_us / 1e6, 'unixepoch') END AS time,
    kind, text, run_id AS run, moved, loose_nm / 1e9 AS loose_m, tight_nm / 1e9 AS tight_m FROM event WHERE undone_us IS NULL;
