package store

import (
	"context"
	"database/sql"
	"fmt"
	"maps"
	"math"
	"slices"
	"time"
)

// RecoverUnfinished marks every run that has no end as interrupted and gives their numbers. Their readings stay. Call
// it once after Open, before a run begins: it cannot tell a run of the past from one that goes on, but for those that
// the caller still holds.
func (s *Store) RecoverUnfinished(ctx context.Context, held ...int64) ([]int64, error) {
	const doing = "look for unfinished runs"
	if s.w == nil {
		return nil, s.readOnly(doing)
	}
	var ids []int64
	err := s.write(ctx, func(ctx context.Context, tx *sql.Tx) error {
		open, err := openRuns(ctx, tx)
		if err != nil {
			return err
		}
		for _, id := range held {
			delete(open, id)
		}
		for id, started := range open {
			ended := lastReadingUS(ctx, tx, id, started)
			if err := endRun(ctx, tx, id, Interrupted, ended,
				"the program stopped before the run was ended; the readings stored until then are kept"); err != nil {
				return fmt.Errorf("run %d: %w", id, err)
			}
		}
		ids = slices.Sorted(maps.Keys(open))
		return nil
	})
	if err != nil {
		return nil, s.fault(doing, err)
	}
	return ids, nil
}

// openRuns returns the runs without an end and when they started.
func openRuns(ctx context.Context, tx *sql.Tx) (map[int64]int64, error) {
	rows, err := tx.QueryContext(ctx, "SELECT id, started_us FROM run WHERE outcome = ''")
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	open := map[int64]int64{}
	for rows.Next() {
		var id, started int64
		if err := rows.Scan(&id, &started); err != nil {
			return nil, err
		}
		open[id] = started
	}
	return open, rows.Err()
}

// lastReadingUS is the last moment a run is known to have been going on: its start and the time its readings span. It
// is missing where they cannot be read, which is no reason to leave the run unmarked.
func lastReadingUS(ctx context.Context, tx *sql.Tx, run, started int64) sql.NullInt64 {
	var first, last []byte
	err := tx.QueryRowContext(ctx, `SELECT (SELECT data FROM chunk WHERE `+chunksOfRun+` ORDER BY chunk.id LIMIT 1),
		(SELECT data FROM chunk WHERE `+chunksOfRun+` ORDER BY chunk.id DESC LIMIT 1) FROM run WHERE id = ?`, run).Scan(&first, &last)
	if err != nil {
		return sql.NullInt64{}
	}
	a, errA := decodeChunk(first)
	b, errB := decodeChunk(last)
	if errA != nil || errB != nil {
		return sql.NullInt64{}
	}
	span := max(b[len(b)-1].T-a[0].T, 0) * float64(time.Second/time.Microsecond)
	return sql.NullInt64{Int64: started + int64(math.Round(span)), Valid: true}
}
