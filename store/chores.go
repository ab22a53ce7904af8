package store

import (
	"context"
	"database/sql"
	"errors"
	"time"
)

// Chore says when a chore was last done; the zero time if never.
func (s *Store) Chore(ctx context.Context, name string) (time.Time, error) {
	var us int64
	err := s.r.QueryRowContext(ctx, "SELECT last_us FROM chore WHERE name = ?", name).Scan(&us)
	if errors.Is(err, sql.ErrNoRows) {
		return time.Time{}, nil
	}
	return fromMicros(us), s.fault("look up the chore "+name, err)
}

// SetChore stores when a chore was last done.
func (s *Store) SetChore(ctx context.Context, name string, at time.Time) error {
	doing := "note the chore " + name
	if s.w == nil {
		return s.readOnly(doing)
	}
	err := s.write(ctx, func(ctx context.Context, tx *sql.Tx) error {
		_, err := tx.ExecContext(ctx,
			"INSERT INTO chore (name, last_us) VALUES (?, ?) ON CONFLICT (name) DO UPDATE SET last_us = excluded.last_us", name, micros(at))
		return err
	})
	return s.fault(doing, err)
}
