package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"math"
	"time"

	"tramd/sweep"
)

// Zero is where 0 degrees of an encoder is, as a person pointed it out.
type Zero struct {
	At       time.Time
	ClockSet bool
	Setup    sweep.Setup
	Encoder  string   // which encoder, in the caller's words
	ZeroDeg  float64  // the spindle angle at which it showed 0
	Reversed bool     // its counts fall as the spindle turns counter-clockwise, seen from above
	IndexDeg *float64 // the spindle angle at its index mark; nil: no mark has kept the zero
}

func (z Zero) check() error {
	for _, x := range []*float64{&z.ZeroDeg, z.IndexDeg} {
		if x != nil && !(math.Abs(*x) <= 360) {
			return fmt.Errorf("%v is no spindle angle in degrees", *x)
		}
	}
	if z.At.IsZero() {
		return errors.New("no time given")
	}
	return nil
}

// PutZero stores a zero. One with the same moment takes the place of the earlier one: its index mark was passed since.
func (s *Store) PutZero(ctx context.Context, z Zero) error {
	const doing = "store the zero of the encoder"
	if s.w == nil {
		return s.readOnly(doing)
	}
	if err := z.check(); err != nil {
		return fmt.Errorf("%s: %w", doing, err)
	}
	return s.fault(doing, s.write(ctx, func(ctx context.Context, tx *sql.Tx) error {
		setup, err := putSetup(ctx, tx, z.Setup, nil)
		if err != nil {
			return err
		}
		if _, err := tx.ExecContext(ctx, "DELETE FROM zero WHERE at_us = ? AND encoder = ?", micros(z.At),
			z.Encoder); err != nil {
			return err
		}
		_, err = tx.ExecContext(ctx,
			"INSERT INTO zero (at_us, clock_set, setup_id, encoder, zero_deg, reversed, index_deg) VALUES (?, ?, ?, ?, ?, ?, ?)",
			micros(z.At), z.ClockSet, setup, z.Encoder, z.ZeroDeg, z.Reversed, z.IndexDeg)
		return err
	}))
}

// LastZero returns the zero that was stored last, if it is one of that encoder; nil otherwise.
func (s *Store) LastZero(ctx context.Context, encoder string) (*Zero, error) {
	const doing = "look up the zero of the encoder"
	var z Zero
	var at, setup int64
	var sound bool
	err := s.r.QueryRowContext(ctx, "SELECT at_us, clock_set, setup_id, encoder, zero_deg, reversed, index_deg, "+
		s.sound["zero"]+" FROM zero ORDER BY id DESC LIMIT 1").
		Scan(&at, &z.ClockSet, &setup, &z.Encoder, &z.ZeroDeg, &z.Reversed, &z.IndexDeg, &sound)
	switch {
	case errors.Is(err, sql.ErrNoRows):
		return nil, nil
	case err != nil:
		return nil, s.fault(doing, err)
	case !sound: // a wrong zero would turn every lean: it is asked for again
		_ = s.spoiled("the zero of the encoder", 0)
		return nil, nil
	case z.Encoder != encoder:
		return nil, nil
	}
	z.At = fromMicros(at)
	if z.Setup, _, err = s.setup(ctx, s.r, setup); err != nil {
		return nil, s.fault(doing, err)
	}
	return &z, nil
}
