package store

import (
	"context"
	"database/sql"
	"fmt"
	"math"

	"tramd/sweep"
)

// AddDoubt stores that a stretch of a run's angles is not to be believed. The readings stay as they are; Points gives
// those of the stretch with their angle unknown.
func (s *Store) AddDoubt(ctx context.Context, run int64, d sweep.Doubt) error {
	doing := fmt.Sprintf("store a doubt about run %d", run)
	if s.w == nil {
		return s.readOnly(doing)
	}
	// Rounded outwards: what is stored of a reading's time is rounded too.
	from, to := math.Floor(d.FromS*microsPerSecond), math.Ceil(d.ToS*microsPerSecond)
	if d.Code == "" || !(math.Abs(from) <= float64(maxMicros)) || !(math.Abs(to) <= float64(maxMicros)) || from > to {
		return fmt.Errorf("%s: code %q from %v to %v s is no stretch of a run", doing, d.Code, d.FromS, d.ToS)
	}
	err := s.write(ctx, func(ctx context.Context, tx *sql.Tx) error {
		return toOpenRun(ctx, tx, run,
			"INSERT INTO doubt (run_id, code, from_us, to_us, text) SELECT id, ?, ?, ?, ? FROM run WHERE id = ? AND outcome = ''",
			d.Code, int64(from), int64(to), d.Text, run)
	})
	return s.fault(doing, err)
}

// rowsQuerier is a connection, a transaction or a pool that gives many rows.
type rowsQuerier interface {
	QueryContext(ctx context.Context, query string, args ...any) (*sql.Rows, error)
}

// doubts returns the doubts about a run. A spoiled one stands as it reads, and is reported: without it angles would be
// believed.
func (s *Store) doubts(ctx context.Context, q rowsQuerier, run int64) ([]sweep.Doubt, error) {
	rows, err := q.QueryContext(ctx, "SELECT code, from_us, to_us, text, "+s.sound["doubt"]+
		" FROM doubt WHERE run_id = ? ORDER BY id", run)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var out []sweep.Doubt
	for rows.Next() {
		var d sweep.Doubt
		var from, to int64
		var whole bool
		if err := rows.Scan(&d.Code, &from, &to, &d.Text, &whole); err != nil {
			return nil, err
		}
		if !whole {
			_ = s.spoiled(fmt.Sprintf("a doubt about run %d", run), 0)
		}
		d.FromS, d.ToS = float64(from)/microsPerSecond, float64(to)/microsPerSecond
		out = append(out, d)
	}
	return out, rows.Err()
}
