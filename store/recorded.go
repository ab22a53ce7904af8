package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"

	"tramd/sweep"
)

// recorded says in words which run of the record has these readings; empty: none has. A sweep that was taken here,
// exported and sent in again is noticed so, whatever its file is called. Runs whose readings were deleted cannot be
// recognised.
func (s *Store) recorded(ctx context.Context, c columns) (string, error) {
	// Not to be cut short: the driver starts a goroutine for every row of a query that can be.
	ctx = context.WithoutCancel(ctx)
	rows, err := s.r.QueryContext(ctx, `SELECT id, started_us FROM run WHERE readings = ? AND readings_gone = 0
		AND id NOT IN (SELECT run_id FROM import) ORDER BY id`, len(c.micros))
	if err != nil {
		return "", err
	}
	var ids, started []int64
	for rows.Next() {
		var id, us int64
		if err := rows.Scan(&id, &us); err != nil {
			return "", errors.Join(err, rows.Close())
		}
		ids, started = append(ids, id), append(started, us)
	}
	if err := errors.Join(rows.Err(), rows.Close()); err != nil {
		return "", err
	}
	for i, id := range ids {
		same, err := s.holds(ctx, id, c)
		if err != nil {
			return "", err
		}
		if same {
			return fmt.Sprintf("run %d, taken here on %s", id, fromMicros(started[i]).Local().Format(
				"2006-01-02 15:04")), nil
		}
	}
	return "", nil
}

// holds reports whether a run's readings, as they are exported, are those of c but for the origin of time. It looks no
// further than the first chunk that differs, which is nearly always the first.
func (s *Store) holds(ctx context.Context, run int64, c columns) (bool, error) {
	doubted, err := s.doubts(ctx, s.r, run)
	if err != nil {
		return false, err
	}
	rows, err := s.r.QueryContext(ctx,
		"SELECT data FROM chunk WHERE id BETWEEN ?1 << 20 AND (?1 << 20 | 1048575) ORDER BY id", run)
	if err != nil {
		return false, err
	}
	defer rows.Close()
	at := 0
	var origin int64
	var data sql.RawBytes
	for rows.Next() {
		if err := rows.Scan(&data); err != nil {
			return false, err
		}
		pts, err := decodeChunk(data)
		if err != nil { // what cannot be read is not known to be the same
			return false, nil
		}
		own, err := quantise(sweep.Believed(pts, doubted))
		if err != nil || at+len(own.micros) > len(c.micros) {
			return false, err
		}
		if at == 0 && len(own.micros) > 0 {
			origin = own.micros[0] - c.micros[0]
		}
		for i := range own.micros {
			k := at + i
			if own.micros[i]-origin != c.micros[k] || own.tagged[i] != c.tagged[k] || own.steps[i] != c.steps[k] ||
				own.nano[i] != c.nano[k] || own.indicator[i] != c.indicator[k] {
				return false, nil
			}
		}
		at += len(own.micros)
	}
	return at == len(c.micros), rows.Err()
}
