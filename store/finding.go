package store

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"math"

	"tramd/sweep"
)

// Finding is what was concluded from a run of any kind, as it is stored.
type Finding struct {
	Model   string // by which it was concluded, and the version of that model
	Version int
	JSON    json.RawMessage // an object

	covariance *[3]float64 // of tilt and nod: both variances and, between them, the covariance
}

// FindingOf is a sweep's result as it is stored.
func FindingOf(res sweep.Result) (Finding, error) {
	text, err := json.Marshal(res)
	if err != nil { // a slope that is not finite, say
		return Finding{}, fmt.Errorf("result: %w", err)
	}
	f := Finding{Model: res.Model, Version: res.ModelVersion, JSON: text}
	tt, tn, nn := res.Covariance[0][0], res.Covariance[0][1], res.Covariance[1][1]
	// SQLite would turn a NaN into NULL without a word
	if sum := tt + tn + nn; !math.IsNaN(sum) && !math.IsInf(sum, 0) {
		f.covariance = &[3]float64{tt, tn, nn}
	}
	return f, nil
}

// AddResult adds the result of a later fit to a run. The older ones stay, but for those that are no longer as they were
// written; the newest is the one shown.
func (s *Store) AddResult(ctx context.Context, run int64, res sweep.Result) error {
	f, err := FindingOf(res)
	if err != nil {
		return fmt.Errorf("add a result to run %d: %w", run, err)
	}
	return s.AddFinding(ctx, run, f)
}

// AddFinding is AddResult for a run of any kind.
func (s *Store) AddFinding(ctx context.Context, run int64, f Finding) error {
	doing := fmt.Sprintf("add a result to run %d", run)
	if s.w == nil {
		return s.readOnly(doing)
	}
	err := s.write(ctx, func(ctx context.Context, tx *sql.Tx) error {
		if err := whyNotOpen(ctx, tx, run); errors.Is(err, ErrNotFound) {
			return err
		}
		if _, err := tx.ExecContext(ctx, "DELETE FROM result WHERE run_id = ? AND NOT "+s.sound["result"],
			run); err != nil {
			return err
		}
		return putFinding(ctx, tx, run, f)
	})
	return s.fault(doing, err)
}

// Unconcluded returns the finished measurements that have readings and no result: it was lost with a damaged file.
func (s *Store) Unconcluded(ctx context.Context) ([]int64, error) {
	ids,
		err := numbers(
		ctx, s.r,
		`SELECT id FROM run WHERE kind IN ('sweep', 'traverse', 'bar', 'travel', 'cross') AND outcome = 'finished' AND readings > missing AND readings_gone = 0
		AND NOT EXISTS (SELECT 1 FROM result WHERE run_id = run.id) ORDER BY id`)
	return ids, s.fault("look for runs without a result", err)
}

func putFinding(ctx context.Context, tx *sql.Tx, run int64, f Finding) error {
	var object map[string]json.RawMessage
	if err := json.Unmarshal(f.JSON, &object); err != nil || object == nil {
		return fmt.Errorf("result: %.40q is no JSON object", f.JSON)
	}
	var cov [3]any
	if f.covariance != nil {
		cov = [3]any{f.covariance[0], f.covariance[1], f.covariance[2]}
	}
	_,
		err := tx.ExecContext(
		ctx, `INSERT INTO result (run_id, model, model_version, json, cov_tilt, cov_tilt_nod, cov_nod)
		VALUES (?, ?, ?, ?, ?, ?, ?)`, run, f.Model, f.Version, string(f.JSON), cov[0], cov[1], cov[2])
	return err
}
