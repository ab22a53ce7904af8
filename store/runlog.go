package store

import (
	"context"
	"database/sql"
	"fmt"
)

// AddRunLog adds lines to the step-by-step log of a run. The run may have ended.
func (s *Store) AddRunLog(ctx context.Context, run int64, text string) error {
	doing := fmt.Sprintf("add to the log of run %d", run)
	if s.w == nil {
		return s.readOnly(doing)
	}
	err := s.write(ctx, func(ctx context.Context, tx *sql.Tx) error {
		res, err := tx.ExecContext(ctx, "UPDATE run SET log = log || ? WHERE id = ?", text, run)
		if err != nil {
			return err
		}
		if n, err := res.RowsAffected(); err != nil || n == 0 {
			if err == nil {
				err = ErrNotFound
			}
			return err
		}
		return nil
	})
	return s.fault(doing, err)
}
