package store

import (
	"context"
	"database/sql"
	"fmt"

	"tramd/sweep"
)

// maxPage bounds one page of runs.
const maxPage = 1000

// selectRun reads runs with their newest result.
const selectRun = `SELECT run.id, kind, purpose, setup_id, started_us, ended_us, boot_id, boot_us, clock_set, outcome, why, note,` + runCounts + `
	result.json, cov_tilt, cov_tilt_nod, cov_nod, temperature_c, spindle_hours
	FROM run LEFT JOIN result ON result.id = (SELECT max(id) FROM result WHERE run_id = run.id) `

// runCounts are the readings of a run, with and without an angle. A run that goes on has its chunks counted.
const runCounts = `
	CASE outcome WHEN '' THEN (SELECT coalesce(sum(readings), 0) FROM chunk WHERE ` + chunksOfRun + `) ELSE run.readings END,
	CASE outcome WHEN '' THEN (SELECT coalesce(sum(untagged), 0) FROM chunk WHERE ` + chunksOfRun + `) ELSE run.untagged END,`

// Runs gives up to limit runs (at most 1000), newest first, with numbers below before; before 0 begins with the newest.
func (s *Store) Runs(ctx context.Context, before int64, limit int) ([]Run, error) {
	query, args := page(selectRun, before, limit)
	out, err := s.runs(ctx, query, args...)
	return out, s.fault("list runs", err)
}

// page asks for one page of runs.
func page(from string, before int64, limit int) (query string, args []any) {
	limit = min(max(limit, 0), maxPage)
	if before > 0 {
		return from + "WHERE run.id < ? ORDER BY run.id DESC LIMIT ?", []any{before, limit}
	}
	return from + "ORDER BY run.id DESC LIMIT ?", []any{limit}
}

// Run gives one run (ErrNotFound).
func (s *Store) Run(ctx context.Context, id int64) (Run, error) {
	out, err := s.runs(ctx, selectRun+"WHERE run.id = ?", id)
	if err == nil && len(out) == 0 {
		err = sql.ErrNoRows
	}
	if err != nil {
		return Run{}, s.fault(fmt.Sprintf("run %d", id), err)
	}
	if out[0].Doubts, err = doubts(ctx, s.r, id); err != nil {
		return Run{}, s.fault(fmt.Sprintf("run %d", id), err)
	}
	if err := s.r.QueryRowContext(ctx, "SELECT log, readings_gone FROM run WHERE id = ?", id).Scan(&out[0].Log, &out[0].ReadingsGone); err != nil {
		return Run{}, s.fault(fmt.Sprintf("run %d", id), err)
	}
	return out[0], nil
}

// LastFinished gives the newest run of a kind that finished (ErrNotFound when there is none). Runs that were imported count
// by the date they were given, since their numbers say nothing of their age.
func (s *Store) LastFinished(ctx context.Context, kind string) (*Run, error) {
	const taken, imported = "run.id NOT IN (SELECT run_id FROM import) ORDER BY run.id", "run.id IN (SELECT run_id FROM import) ORDER BY started_us"
	var last *Run
	for _, which := range []string{taken, imported} {
		out, err := s.runs(ctx, selectRun+"WHERE kind = ? AND outcome = 'finished' AND "+which+" DESC LIMIT 1", kind)
		if err != nil {
			return nil, s.fault("last finished "+kind, err)
		}
		if len(out) > 0 && (last == nil || out[0].StartedAt.After(last.StartedAt)) {
			last = &out[0]
		}
	}
	if last == nil {
		return nil, s.fault("last finished "+kind, sql.ErrNoRows)
	}
	return last, nil
}

// RunCounts says how many runs have ended since the database was made, by kind and outcome. It never goes down.
func (s *Store) RunCounts(ctx context.Context) (map[RunKey]uint64, error) {
	rows, err := s.r.QueryContext(ctx, "SELECT kind, outcome, runs FROM run_count")
	if err != nil {
		return nil, s.fault("count runs", err)
	}
	defer rows.Close()
	out := map[RunKey]uint64{}
	for rows.Next() {
		var key RunKey
		var n int64
		if err := rows.Scan(&key.Kind, &key.Outcome, &n); err != nil {
			return nil, s.fault("count runs", err)
		}
		out[key] = uint64(n)
	}
	return out, s.fault("count runs", rows.Err())
}

// runs reads everything before it decodes anything, so that no connection is held longer than SQLite needs it.
func (s *Store) runs(ctx context.Context, query string, args ...any) ([]Run, error) {
	found, err := s.runRows(ctx, query, args...)
	if err != nil {
		return nil, err
	}
	out := make([]Run, len(found))
	for i, row := range found {
		if out[i], err = s.fromRow(ctx, row); err != nil {
			return nil, fmt.Errorf("run %d: %w", row.run.ID, err)
		}
	}
	return out, nil
}

// runRow is a run as it lies in its row.
type runRow struct {
	run                Run
	setup              int64
	started, boot      int64
	ended              sql.NullInt64
	covTT, covTN, covN sql.NullFloat64
	text               []byte
}

// runRows lets ctx bound the wait for a connection but not the query, which is short: the driver starts a goroutine for
// every row of a query that can be cancelled, which costs more than the rows.
func (s *Store) runRows(ctx context.Context, query string, args ...any) ([]runRow, error) {
	conn, err := s.r.Conn(ctx)
	if err != nil {
		return nil, err
	}
	defer conn.Close()
	rows, err := conn.QueryContext(context.WithoutCancel(ctx), query, args...)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var out []runRow
	for rows.Next() {
		var r runRow
		if err := rows.Scan(&r.run.ID, &r.run.Kind, &r.run.Purpose, &r.setup, &r.started, &r.ended, &r.run.BootID, &r.boot,
			&r.run.ClockSet, &r.run.Outcome, &r.run.Why, &r.run.Note, &r.run.Readings, &r.run.Untagged,
			&r.text, &r.covTT, &r.covTN, &r.covN, &r.run.TemperatureC, &r.run.SpindleHours); err != nil {
			return nil, err
		}
		out = append(out, r)
	}
	return out, rows.Err()
}

// withSetup makes a run of its row, all but the result.
func (s *Store) withSetup(ctx context.Context, row runRow) (Run, error) {
	run := row.run
	setup, err := s.setup(ctx, s.r, row.setup)
	if err != nil {
		return run, err
	}
	run.Setup, run.Tolerance = setup, setup.Tolerance.Text
	run.StartedAt, run.BootTime = fromMicros(row.started), durationFromMicros(row.boot)
	if row.ended.Valid {
		run.EndedAt = fromMicros(row.ended.Int64)
	}
	return run, nil
}

func (s *Store) fromRow(ctx context.Context, row runRow) (Run, error) {
	run, err := s.withSetup(ctx, row)
	if err != nil {
		return run, err
	}
	if row.text != nil {
		run.Result = &sweep.Result{}
		// Not by way of json.Unmarshal, which would look through the text twice more: SQLite has checked that it is JSON.
		if err := run.Result.UnmarshalJSON(row.text); err != nil {
			return run, fmt.Errorf("result: %w: %w", ErrDamaged, err)
		}
		if row.covTT.Valid && row.covTN.Valid && row.covN.Valid {
			tn := row.covTN.Float64
			run.Result.Covariance = [2][2]float64{{row.covTT.Float64, tn}, {tn, row.covN.Float64}}
		}
	}
	return run, nil
}
