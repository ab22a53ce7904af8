package store

import (
	"context"
	"database/sql"
	"slices"
	"time"
)

// Dated says what was given a new time of day.
type Dated struct {
	Runs   []int64 // by number
	Events int
}

// DateBoot corrects the dates of rows that a boot stored before its clock was set: booted is the moment of that boot by
// the clock as it is now. Each run and event then stands at booted plus its time since boot, and counts as dated; what
// was dated before is left alone, so that a second call finds nothing to do. The time first written is kept in the
// file.
func (s *Store) DateBoot(ctx context.Context, boot string, booted time.Time) (Dated, error) {
	const doing = "date what was stored before the clock was set"
	if s.w == nil {
		return Dated{}, s.readOnly(doing)
	}
	var out Dated
	if boot == "" { // of that nothing is known to belong together
		return out, nil
	}
	err := s.write(ctx, func(ctx context.Context, tx *sql.Tx) error {
		// Each expression on the right sees the row as it was.
		rows, err := tx.QueryContext(
			ctx, `UPDATE run SET clock_set = 1, first_us = started_us, started_us = ?1 + boot_us,
			ended_us = ended_us + (?1 + boot_us - started_us) WHERE boot_id = ?2 AND clock_set = 0 RETURNING id`, micros(booted), boot)
		if err != nil {
			return err
		}
		defer rows.Close()
		for rows.Next() {
			var id int64
			if err := rows.Scan(&id); err != nil {
				return err
			}
			out.Runs = append(out.Runs, id)
		}
		if err := rows.Err(); err != nil {
			return err
		}
		res, err := tx.ExecContext(ctx,
			"UPDATE event SET clock_set = 1, at_us = ?1 + boot_us WHERE boot_id = ?2 AND clock_set = 0",
			micros(booted), boot)
		if err != nil {
			return err
		}
		n, err := res.RowsAffected()
		out.Events = int(n)
		return err
	})
	if err != nil {
		return Dated{}, s.fault(doing, err)
	}
	slices.Sort(out.Runs)
	return out, nil
}
