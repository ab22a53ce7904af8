package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
)

// Meter is how long the spindle has run, in hours, and what the machine's own counter showed then, where one is read.
// The two differ where a counter started again from 0, or a person corrected the hours.
type Meter struct {
	Hours   float64
	Counter *float64 // nil: none was read
}

func (m Meter) check() error {
	for _, x := range []*float64{&m.Hours, m.Counter} {
		if x != nil && !(*x >= 0 && *x < maxHours) { // NaN is not; SQLite would store it as NULL without a word
			return fmt.Errorf("%v h is no running time", *x)
		}
	}
	return nil
}

// Meter returns the hours as they were last kept; nil where none are known.
func (s *Store) Meter(ctx context.Context) (*Meter, error) {
	var m Meter
	var sound bool
	err := s.r.QueryRowContext(ctx, "SELECT hours, counter, "+s.sound["meter"]+" FROM meter").Scan(
		&m.Hours, &m.Counter, &sound)
	if errors.Is(err, sql.ErrNoRows) {
		return nil, nil
	}
	if err != nil {
		return nil, s.fault("look up the spindle's hours", err)
	}
	if !sound { // they go on from what is there, and a person is to look at them
		_ = s.spoiled("the row of the spindle's hours", 0)
	}
	return &m, nil
}

// SetMeter keeps the hours.
func (s *Store) SetMeter(ctx context.Context, m Meter) error {
	const doing = "keep the spindle's hours"
	if s.w == nil {
		return s.readOnly(doing)
	}
	if err := m.check(); err != nil {
		return fmt.Errorf("%s: %w", doing, err)
	}
	return s.fault(doing, s.write(ctx, func(ctx context.Context, tx *sql.Tx) error { return putMeter(ctx, tx, m) }))
}

func putMeter(ctx context.Context, tx *sql.Tx, m Meter) error {
	_, err := tx.ExecContext(ctx, `INSERT INTO meter (id, hours, counter) VALUES (1, ?, ?)
		ON CONFLICT (id) DO UPDATE SET hours = excluded.hours, counter = excluded.counter`, m.Hours, m.Counter)
	return err
}

// typeMeter has the hours go on from what a person typed; the counter goes on too, from where it is.
func typeMeter(ctx context.Context, tx *sql.Tx, hours float64) error {
	_,
		err := tx.ExecContext(
		ctx, `INSERT INTO meter (id, hours) VALUES (1, ?) ON CONFLICT (id) DO UPDATE SET hours = excluded.hours`, hours)
	return err
}

// HoursSinceCheck returns how long the spindle has turned since the last finished sweep: by the hours kept, less those
// that stand with the sweep, or what was typed last before it. nil where that is not known, or the hours were set back
// since.
func (s *Store) HoursSinceCheck(ctx context.Context) *float64 {
	var now, then sql.NullFloat64
	var typed sql.NullString
	if err := s.r.QueryRowContext(ctx, `SELECT (SELECT hours FROM meter), spindle_hours,
		(SELECT text FROM event WHERE event.kind = ? AND undone_us IS NULL AND at_us <= started_us ORDER BY id DESC LIMIT 1)
		FROM run WHERE kind = 'sweep' AND outcome = 'finished' ORDER BY id DESC LIMIT 1`, hoursEvent).Scan(&now, &then, &typed); err != nil {
		return nil // there is none, or the record cannot be read just now
	}
	if !then.Valid && typed.Valid {
		x, err := parseHours(typed.String)
		then = sql.NullFloat64{Float64: x, Valid: err == nil}
	}
	d := now.Float64 - then.Float64
	if !now.Valid || !then.Valid || d < 0 {
		return nil
	}
	return &d
}
