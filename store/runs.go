package store

import (
	"context"
	"database/sql"
	"fmt"
	"strings"

	"tramd/sweep"
)

// maxPage bounds one page of runs.
const maxPage = 1000

// selectRun reads runs with their newest result.
func (s *Store) selectRun() string {
	return "SELECT " + runColumns + `, result.json, cov_tilt, cov_tilt_nod, cov_nod, ` + s.sound["run"] + `, ` +
		s.sound["result"] + `
	FROM run LEFT JOIN result ON result.id = (SELECT max(id) FROM result WHERE run_id = run.id) `
}

const runColumns = `run.id, kind, subject, purpose, setup_id, started_us, ended_us, boot_id, boot_us, clock_set, outcome, why, note,` +
	runCounts + ` temperature_c, spindle_hours, readings_gone, missing, origin`

// runCounts are the readings of a run, with and without an angle. A run that goes on has its chunks counted.
const runCounts = `
	CASE outcome WHEN '' THEN (SELECT coalesce(sum(readings), 0) FROM chunk WHERE ` + chunksOfRun + `) ELSE run.readings END,
	CASE outcome WHEN '' THEN (SELECT coalesce(sum(untagged), 0) FROM chunk WHERE ` + chunksOfRun + `) ELSE run.untagged END,`

// Which says which runs are wanted. The zero value: all.
type Which struct {
	Before  int64  // only numbers below this one; 0: from the newest
	Limit   int    // at most so many, and at most 1000
	Kind    string // of this kind; empty: any
	Subject string // of this subject; empty: any
}

// Runs gives up to limit runs (at most 1000), newest first, with numbers below before; before 0 begins with the newest.
func (s *Store) Runs(ctx context.Context, before int64, limit int) ([]Run, error) {
	return s.Find(ctx, Which{Before: before, Limit: limit})
}

// Find returns the runs that are wanted, newest first. One that cannot be read, or is not as it was written, is among
// them and says so (Run.Damage); it hides none of the others.
func (s *Store) Find(ctx context.Context, w Which) ([]Run, error) {
	rows, err := s.page(ctx, s.selectRun(), w)
	if err != nil {
		return nil, s.fault("list runs", err)
	}
	out := make([]Run, len(rows))
	for i, row := range rows {
		out[i] = s.fromRow(ctx, row)
	}
	return out, nil
}

// page reads one page of runs. Where a page of the file cannot be read, it goes on run by run.
func (s *Store) page(ctx context.Context, from string, w Which) ([]runRow, error) {
	w.Limit = min(max(w.Limit, 0), maxPage)
	where, args := w.where()
	rows, err := s.runRows(ctx, from+where+" ORDER BY run.id DESC LIMIT ?", append(args, w.Limit)...)
	if err == nil || !isCorrupt(err) {
		return rows, err
	}
	_ = s.fault("list runs", err) // it is damage: to be reported, and to be read around
	last := w.Before - 1
	if len(rows) > 0 {
		last = rows[len(rows)-1].run.ID - 1
	} else if w.Before <= 0 {
		if err := s.r.QueryRowContext(ctx, "SELECT seq FROM sqlite_sequence WHERE name = 'run'").Scan(
			&last); err != nil {
			return nil, err
		}
	}
	for id := last; id > 0 && len(rows) < w.Limit && ctx.Err() == nil; id-- {
		one, err := s.runRows(ctx, from+"WHERE run.id = ?", id)
		if err != nil && isCorrupt(err) {
			one = []runRow{{run: Run{ID: id, Damage: unreadable}}}
		} else if err != nil {
			return rows, err
		}
		if len(one) == 1 && (one[0].run.Damage != "" || w.matches(one[0].run)) {
			rows = append(rows, one[0])
		}
	}
	return rows, ctx.Err()
}

// unreadable is what is said of a run whose row lies on a damaged page.
const unreadable = "this run cannot be read: restart the daemon, which saves what can be, or go back to a backup"

func (w Which) where() (string, []any) {
	var conditions []string
	var args []any
	add := func(condition string, arg any) {
		conditions, args = append(conditions, condition), append(args, arg)
	}
	if w.Before > 0 {
		add("run.id < ?", w.Before)
	}
	if w.Kind != "" {
		add("kind = ?", w.Kind)
	}
	if w.Subject != "" {
		add("subject = ?", w.Subject)
	}
	if len(conditions) == 0 {
		return "", nil
	}
	return "WHERE " + strings.Join(conditions, " AND "), args
}

func (w Which) matches(r Run) bool {
	return (w.Kind == "" || r.Kind == w.Kind) && (w.Subject == "" || r.Subject == w.Subject)
}

// Run returns one run (ErrNotFound).
func (s *Store) Run(ctx context.Context, id int64) (Run, error) {
	doing := fmt.Sprintf("run %d", id)
	rows, err := s.runRows(ctx, s.selectRun()+"WHERE run.id = ?", id)
	if err == nil && len(rows) == 0 {
		err = sql.ErrNoRows
	}
	if err != nil {
		return Run{}, s.fault(doing, err)
	}
	out := s.fromRow(ctx, rows[0])
	if out.Doubts, err = s.doubts(ctx, s.r, id); err != nil {
		return Run{}, s.fault(doing, err)
	}
	if err := s.r.QueryRowContext(ctx, "SELECT log FROM run WHERE id = ?", id).Scan(&out.Log); err != nil {
		return Run{}, s.fault(doing, err)
	}
	return out, nil
}

// LastFinished returns the newest run of a kind that finished (ErrNotFound when there is none). Runs that were imported
// count by the date they were given, since their numbers say nothing of their age.
func (s *Store) LastFinished(ctx context.Context, kind string) (*Run, error) {
	const taken, imported = "run.id NOT IN (SELECT run_id FROM import) ORDER BY run.id",
		"run.id IN (SELECT run_id FROM import) ORDER BY started_us"
	var last *Run
	for _, which := range []string{taken, imported} {
		rows, err := s.runRows(ctx, s.selectRun()+"WHERE kind = ? AND outcome = 'finished' AND "+which+" DESC LIMIT 1",
			kind)
		if err != nil {
			return nil, s.fault("last finished "+kind, err)
		}
		if len(rows) == 0 {
			continue
		}
		if run := s.fromRow(ctx, rows[0]); last == nil || run.StartedAt.After(last.StartedAt) {
			last = &run
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

// runRow is a run as it lies in its row.
type runRow struct {
	run                Run
	setup              int64
	started, boot      int64
	ended              sql.NullInt64
	covTT, covTN, covN sql.NullFloat64
	text               []byte
	sound, resultSound bool
}

// runRows lets ctx bound the wait for a connection but not the query, which is short: the driver starts a goroutine for
// every row of a query that can be cancelled, which costs more than the rows. After an error it gives the rows before
// it.
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
		var resultSound sql.NullBool
		if err := rows.Scan(&r.run.ID, &r.run.Kind, &r.run.Subject, &r.run.Purpose, &r.setup, &r.started, &r.ended,
			&r.run.BootID, &r.boot,
			&r.run.ClockSet, &r.run.Outcome, &r.run.Why, &r.run.Note, &r.run.Readings, &r.run.Untagged,
			&r.run.TemperatureC, &r.run.SpindleHours, &r.run.ReadingsGone, &r.run.Missing, &r.run.Origin,
			&r.text, &r.covTT, &r.covTN, &r.covN, &r.sound, &resultSound); err != nil {
			if r, err = bare(rows); err != nil { // a spoiled row may hold text where a number was
				return out, err
			}
		}
		r.resultSound = resultSound.Bool
		out = append(out, r)
	}
	return out, rows.Err()
}

// bare reads a spoiled row: of that nothing is to be believed but its number.
func bare(rows *sql.Rows) (runRow, error) {
	columns, err := rows.Columns()
	if err != nil {
		return runRow{}, err
	}
	into := make([]any, len(columns))
	var id int64
	into[0] = &id
	for i := 1; i < len(into); i++ {
		into[i] = new(any)
	}
	err = rows.Scan(into...)
	return runRow{run: Run{ID: id}}, err
}

// withSetup makes a run of its row, all but the result.
func (s *Store) withSetup(ctx context.Context, row runRow) Run {
	run := row.run
	if run.Damage != "" { // it could not be read at all
		return run
	}
	run.StartedAt, run.BootTime = fromMicros(row.started), durationFromMicros(row.boot)
	if row.ended.Valid {
		run.EndedAt = fromMicros(row.ended.Int64)
	}
	if !row.sound {
		run.Damage = s.spoiled(fmt.Sprintf("the row of run %d", run.ID), 0)
	}
	setup, own, err := s.setup(ctx, s.r, row.setup)
	if err != nil {
		_ = s.fault("setup", err)
		if run.Damage == "" {
			run.Damage = s.spoiled(fmt.Sprintf("the setup of run %d", run.ID), 0)
		}
		return run
	}
	run.Setup, run.Own, run.Tolerance = setup, own, setup.Tolerance.Text
	return run
}

// fromRow makes a run of its row. A result that is not as it was written is not shown.
func (s *Store) fromRow(ctx context.Context, row runRow) Run {
	run := s.withSetup(ctx, row)
	if row.text == nil {
		return run
	}
	damage := func() Run {
		text := s.spoiled(fmt.Sprintf("the result of run %d", run.ID), run.ID)
		if run.Damage == "" {
			run.Damage = text
		}
		run.Result, run.Raw = nil, nil
		return run
	}
	if !row.resultSound {
		return damage()
	}
	run.Raw = row.text
	if !sweeps(run.Kind) {
		return run
	}
	run.Result = &sweep.Result{}
	// Not by way of json.Unmarshal, which would look through the text twice more: SQLite has checked that it is JSON.
	if err := run.Result.UnmarshalJSON(row.text); err != nil {
		return damage()
	}
	if row.covTT.Valid && row.covTN.Valid && row.covN.Valid {
		tn := row.covTN.Float64
		run.Result.Covariance = [2][2]float64{{row.covTT.Float64, tn}, {tn, row.covN.Float64}}
	}
	return run
}
