package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"

	"tramd/sweep"
)

// chunksOfRun finds the chunks of the row of run at hand: a chunk's number is the run's, shifted, and its place in it.
const chunksOfRun = "chunk.id BETWEEN run.id << 20 AND (run.id << 20 | 1048575)"

// Points gives a run's readings in the order they were stored, those under a doubt with their angle unknown. If a chunk is damaged, the readings of all the others come
// back together with an error that is ErrDamaged and names it.
func (s *Store) Points(ctx context.Context, run int64) ([]sweep.Point, error) {
	doing := fmt.Sprintf("readings of run %d", run)
	tx, err := s.r.BeginTx(ctx, &sql.TxOptions{ReadOnly: true}) // one view for all, while the writer goes on
	if err != nil {
		return nil, s.fault(doing, err)
	}
	defer tx.Rollback()
	var total int
	var gone bool
	if err := tx.QueryRowContext(ctx, `SELECT (SELECT coalesce(sum(readings), 0) FROM chunk WHERE `+chunksOfRun+`), readings_gone
		FROM run WHERE id = ?`, run).Scan(&total, &gone); err != nil {
		return nil, s.fault(doing, err)
	}
	if gone {
		return nil, fmt.Errorf("%s: %w; its result stays, and a backup of that time has them", doing, ErrGone)
	}
	rows, err := tx.QueryContext(ctx, "SELECT seq, readings, data FROM chunk WHERE id BETWEEN ?1 << 20 AND (?1 << 20 | 1048575) ORDER BY id", run)
	if err != nil {
		return nil, s.fault(doing, err)
	}
	defer rows.Close()
	pts := make([]sweep.Point, 0, min(max(total, 0), 1<<20)) // a damaged count must not ask for the moon
	var damage []error
	var data sql.RawBytes
	for rows.Next() {
		var seq, want int
		if err := rows.Scan(&seq, &want, &data); err != nil {
			return pts, s.fault(doing, err)
		}
		part, err := decodeChunk(data)
		if err == nil && len(part) != want {
			err = fmt.Errorf("%w chunk: holds %d readings, want %d", ErrDamaged, len(part), want)
		}
		if err != nil {
			damage = append(damage, fmt.Errorf("chunk %d: %w", seq, err))
			continue
		}
		pts = append(pts, part...)
	}
	if err := rows.Err(); err != nil {
		return pts, s.fault(doing, err)
	}
	doubted, err := doubts(ctx, tx, run)
	if err != nil {
		return pts, s.fault(doing, err)
	}
	pts = sweep.Believed(pts, doubted)
	if len(damage) > 0 {
		return pts, fmt.Errorf("%s: the other %d are good; restore a backup to get the rest: %w", doing, len(pts), errors.Join(damage...))
	}
	return pts, nil
}
