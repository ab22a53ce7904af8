package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"math"
	"time"

	"tramd/sweep"
	"tramd/sweep/drift"
)

// BeginRun stores a run's beginning and gives its number.
func (s *Store) BeginRun(ctx context.Context, r NewRun) (int64, error) {
	const doing = "begin run"
	if s.w == nil {
		return 0, s.readOnly(doing)
	}
	if r.Kind == "" {
		return 0, fmt.Errorf("%s: no kind given", doing)
	}
	if r.BootID == "" {
		r.BootID = s.bootID
	}
	id, err := s.insert(ctx, doing, func(ctx context.Context, tx *sql.Tx) (sql.Result, error) {
		return putRun(ctx, tx, r)
	})
	if err != nil {
		return 0, err
	}
	s.mu.Lock()
	s.begun[id] = r.StartedAt
	s.mu.Unlock()
	return id, nil
}

func putRun(ctx context.Context, tx *sql.Tx, r NewRun) (sql.Result, error) {
	setup, err := putSetup(ctx, tx, r.Setup, r.Own)
	if err != nil {
		return nil, err
	}
	res,
		err := tx.ExecContext(
		ctx, `INSERT INTO run (kind, purpose, setup_id, started_us, boot_id, boot_us, clock_set, note)
		VALUES (?, ?, ?, ?, ?, ?, ?, ?)`,
		r.Kind, r.Purpose, setup, micros(r.StartedAt), r.BootID, r.BootTime.Microseconds(), r.ClockSet, r.Note)
	if err == nil && r.Subject != "" {
		err = setSubject(ctx, tx, res, r.Subject)
	}
	if err == nil && r.TemperatureC != nil {
		err = setTemperature(ctx, tx, res, *r.TemperatureC)
	}
	switch {
	case err != nil:
	case r.Meter != nil: // in one commit, so that the hours of a later run are never less
		if err = setHours(ctx, tx, res, *r.Meter); err == nil {
			err = putMeter(ctx, tx, *r.Meter)
		}
	case r.SpindleHours != nil:
		err = setHours(ctx, tx, res, Meter{Hours: *r.SpindleHours})
	}
	return res, err
}

// setHours stores the hours with the run.
func setHours(ctx context.Context, tx *sql.Tx, run sql.Result, m Meter) error {
	if err := m.check(); err != nil {
		return err
	}
	id, err := run.LastInsertId()
	if err != nil {
		return err
	}
	_, err = tx.ExecContext(ctx, "UPDATE run SET spindle_hours = ? WHERE id = ?", m.Hours, id)
	return err
}

// NextRun returns the number that the next run will have.
func (s *Store) NextRun(ctx context.Context) (int64, error) {
	var last int64
	err := s.r.QueryRowContext(ctx, "SELECT coalesce((SELECT seq FROM sqlite_sequence WHERE name = 'run'), 0)").Scan(
		&last)
	return last + 1, s.fault("the next run's number", err)
}

func setSubject(ctx context.Context, tx *sql.Tx, run sql.Result, subject string) error {
	id, err := run.LastInsertId()
	if err != nil {
		return err
	}
	_, err = tx.ExecContext(ctx, "UPDATE run SET subject = ? WHERE id = ?", subject, id)
	return err
}

func setTemperature(ctx context.Context, tx *sql.Tx, run sql.Result, celsius float64) error {
	// SQLite would store NULL for what is no number, without a word
	if err := drift.JudgeTemperature(celsius); err != nil {
		return err
	}
	id, err := run.LastInsertId()
	if err != nil {
		return err
	}
	_, err = tx.ExecContext(ctx, "UPDATE run SET temperature_c = ? WHERE id = ?", celsius, id)
	return err
}

// insert runs f in a transaction and gives the number of the row it added.
func (s *Store) insert(ctx context.Context, doing string, f func(context.Context, *sql.Tx) (sql.Result, error)) (
	id int64, err error) {
	err = s.write(ctx, func(ctx context.Context, tx *sql.Tx) error {
		res, err := f(ctx, tx)
		if err != nil {
			return err
		}
		id, err = res.LastInsertId()
		return err
	})
	if err != nil {
		return 0, s.fault(doing, err)
	}
	return id, nil
}

// AppendPoints adds readings to a run that goes on, in one commit that is on the disk when it returns. After an error
// none of them is stored, and the same call may be made again. A point whose Angle is NaN is kept as not tagged;
// anything else that is not finite is refused.
func (s *Store) AppendPoints(ctx context.Context, run int64, pts []sweep.Point) error {
	return s.AppendSamples(ctx, run, Samples{Points: pts})
}

// piece is a chunk on its way to its row.
type piece struct {
	data               []byte
	readings, untagged int
}

func pack(s Samples) ([]piece, error) {
	if err := s.fits(); err != nil {
		return nil, err
	}
	var pieces []piece
	for first := 0; first < len(s.Points); first += maxChunk {
		part := s.part(first, min(first+maxChunk, len(s.Points)))
		data, err := encodeSamples(part)
		if err != nil {
			return nil, err
		}
		untagged := 0
		for _, p := range part.Points {
			if math.IsNaN(p.Angle) {
				untagged++
			}
		}
		pieces = append(pieces, piece{data, len(part.Points), untagged})
	}
	return pieces, nil
}

func putPieces(ctx context.Context, tx *sql.Tx, run int64, pieces []piece) error {
	for _, p := range pieces {
		err := toOpenRun(ctx, tx, run, `INSERT INTO chunk (id, run_id, seq, readings, untagged, data)
			SELECT run << 20 | next, run, next, ?, ?, ? FROM (SELECT id AS run, coalesce((SELECT seq + 1 FROM chunk WHERE `+chunksOfRun+`
			ORDER BY chunk.id DESC LIMIT 1), 0) AS next FROM run WHERE id = ? AND outcome = '')`,
			p.readings, p.untagged, p.data, run)
		if err != nil {
			return err
		}
	}
	return nil
}

// FinishRun ends a run: how, when, why, and with which result (nil: none), all or nothing. Of a run that was begun
// through this store with a StartedAt from time.Now the length is taken from the monotonic clock and added to the
// stored start, whose date may have been corrected meanwhile.
func (s *Store) FinishRun(ctx context.Context, run int64, o Outcome, endedAt time.Time, why string,
	res *sweep.Result) error {
	var f *Finding
	if res != nil {
		found, err := FindingOf(*res)
		if err != nil {
			return fmt.Errorf("end run %d: %w", run, err)
		}
		f = &found
	}
	return s.FinishRunWith(ctx, run, o, endedAt, why, f)
}

// FinishRunWith is FinishRun for a measurement of any kind.
func (s *Store) FinishRunWith(ctx context.Context, run int64, o Outcome, endedAt time.Time, why string,
	f *Finding) error {
	doing := fmt.Sprintf("end run %d", run)
	if s.w == nil {
		return s.readOnly(doing)
	}
	if !o.known() {
		return fmt.Errorf("%s: %q is not an outcome", doing, o)
	}
	err := s.write(ctx, func(ctx context.Context, tx *sql.Tx) error {
		if err := endRun(ctx, tx, run, o, s.endOf(ctx, tx, run, endedAt), why); err != nil {
			return err
		}
		if f == nil {
			return nil
		}
		return putFinding(ctx, tx, run, *f)
	})
	if err == nil {
		s.mu.Lock()
		delete(s.begun, run)
		s.mu.Unlock()
	}
	return s.fault(doing, err)
}

// endOf returns when a run ended by the clock that its start is written in.
func (s *Store) endOf(ctx context.Context, tx *sql.Tx, run int64, endedAt time.Time) sql.NullInt64 {
	s.mu.Lock()
	began, ok := s.begun[run]
	s.mu.Unlock()
	ended := sql.NullInt64{Int64: micros(endedAt), Valid: !endedAt.IsZero()}
	// Round(0) strips the monotonic reading: only a time that has one differs from itself without.
	if !ok || !ended.Valid || began == began.Round(0) || endedAt == endedAt.Round(0) {
		return ended
	}
	var started int64
	if err := tx.QueryRowContext(ctx, "SELECT started_us FROM run WHERE id = ?", run).Scan(&started); err != nil {
		return ended // endRun will say what is wrong with that run
	}
	ended.Int64 = started + endedAt.Sub(began).Microseconds()
	return ended
}

func endRun(ctx context.Context, tx *sql.Tx, run int64, o Outcome, endedUS sql.NullInt64, why string) error {
	err := toOpenRun(ctx, tx, run, `UPDATE run SET outcome = ?, ended_us = ?, why = ?,
		(readings, untagged) = (SELECT coalesce(sum(readings), 0), coalesce(sum(untagged), 0) FROM chunk WHERE `+chunksOfRun+`)
		WHERE id = ? AND outcome = ''`, string(o), endedUS, why, run)
	if err != nil {
		return err
	}
	_,
		err = tx.ExecContext(
		ctx, `INSERT INTO run_count (kind, outcome, runs) SELECT kind, outcome, 1 FROM run WHERE id = ?
		ON CONFLICT (kind, outcome) DO UPDATE SET runs = runs + 1`, run)
	return err
}

// toOpenRun runs a statement that writes something only while a run is open, and says why it wrote nothing.
func toOpenRun(ctx context.Context, tx *sql.Tx, run int64, statement string, args ...any) error {
	res, err := tx.ExecContext(ctx, statement, args...)
	if err != nil {
		return err
	}
	n, err := res.RowsAffected()
	if err == nil && n == 0 {
		err = whyNotOpen(ctx, tx, run)
	}
	return err
}

// whyNotOpen tells a run that is not there from one that has ended.
func whyNotOpen(ctx context.Context, tx *sql.Tx, run int64) error {
	var outcome Outcome
	if err := tx.QueryRowContext(ctx, "SELECT outcome FROM run WHERE id = ?", run).Scan(&outcome); err != nil {
		if errors.Is(err, sql.ErrNoRows) {
			return ErrNotFound
		}
		return err
	}
	return fmt.Errorf("%w: %s", ErrEnded, outcome)
}
