package store

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"
)

// Event is something that happened to the machine between runs.
type Event struct {
	ID   int64     `json:"id"`
	At   time.Time `json:"at"`
	Kind string    `json:"kind"` // one of EventKinds
	Text string    `json:"text"`
	Run  int64     `json:"run,omitempty"` // the run it belongs to; 0: none

	Moved map[string]float64 `json:"moved,omitempty"` // of adjusted: how much, by adjuster; nil: not said

	Tightened *Tightened `json:"tightened,omitempty"` // of adjusted: what tightening did to a parked arm

	BootID     string        `json:"-"`                     // empty: the store's; both for DateBoot
	BootTime   time.Duration `json:"-"`                     // since that boot
	ClockUnset bool          `json:"clock_unset,omitempty"` // At cannot be believed
	// nothing of it is to be believed; empty: it is as it was written
	Damage string `json:"damage,omitempty"`

	Undone *time.Time `json:"undone,omitempty"` // when a person took it back; nil: it counts
}

// EventKinds are the kinds of event there are. All but the last two mean that the machine is another one from then on;
// acknowledged takes it as it is. The text of hours is what the spindle's hour counter showed.
func EventKinds() []string {
	return []string{"adjusted", "crashed", "serviced", "moved", "acknowledged", "note", hoursEvent}
}

// TypedHours returns the hours that a person typed, of an event that says them.
func (e Event) TypedHours() (float64, bool) {
	if e.Kind != hoursEvent {
		return 0, false
	}
	x, err := parseHours(e.Text)
	return x, err == nil
}

// AddEvent stores an event and gives its number.
func (s *Store) AddEvent(ctx context.Context, e Event) (int64, error) {
	const doing = "store event"
	if s.w == nil {
		return 0, s.readOnly(doing)
	}
	if !slices.Contains(EventKinds(), e.Kind) {
		return 0, fmt.Errorf("%s: %w: %q is not a kind of event; use %s", doing, ErrEvent, e.Kind,
			strings.Join(EventKinds(), ", "))
	}
	var hours *float64
	if e.Kind == hoursEvent {
		x, err := parseHours(e.Text)
		if err != nil {
			return 0, fmt.Errorf("%s: %w: %w", doing, ErrEvent, err)
		}
		hours = &x
	}
	var moved sql.NullString
	if len(e.Moved) > 0 {
		if e.Kind != "adjusted" {
			return 0, fmt.Errorf("%s: %w: only adjusted says what was moved, not %s", doing, ErrEvent, e.Kind)
		}
		text, err := json.Marshal(e.Moved)
		if err != nil {
			return 0, fmt.Errorf("%s: what was moved: %w", doing, err)
		}
		moved = sql.NullString{String: string(text), Valid: true}
	}
	if e.Tightened != nil && e.Kind != "adjusted" {
		return 0, fmt.Errorf("%s: %w: only adjusted says what tightening did, not %s", doing, ErrEvent, e.Kind)
	}
	loose, tight, err := e.Tightened.columns()
	if err != nil {
		return 0, fmt.Errorf("%s: %w", doing, err)
	}
	if e.At.IsZero() {
		return 0, fmt.Errorf("%s: no time given", doing)
	}
	if e.BootID == "" {
		e.BootID = s.bootID
	}
	return s.insert(ctx, doing, func(ctx context.Context, tx *sql.Tx) (sql.Result, error) {
		if e.Run != 0 {
			if err := whyNotOpen(ctx, tx, e.Run); errors.Is(err, ErrNotFound) {
				return nil, fmt.Errorf("%w: run %d: %w", ErrEvent, e.Run, err)
			}
		}
		if hours != nil {
			if err := typeMeter(ctx, tx, *hours); err != nil {
				return nil, err
			}
		}
		return tx.ExecContext(
			ctx,
			`INSERT INTO event (at_us, kind, text, run_id, boot_id, boot_us, clock_set, moved, loose_nm, tight_nm, after_run)
			VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, (SELECT coalesce(max(id), 0) FROM run))`, micros(e.At), e.Kind, e.Text,
			sql.NullInt64{Int64: e.Run, Valid: e.Run != 0}, e.BootID, e.BootTime.Microseconds(), !e.ClockUnset, moved,
			loose, tight)
	})
}

// UndoEvent marks an event as taken back: history, advice and retention no longer see it, and the row stays as
// evidence.
func (s *Store) UndoEvent(ctx context.Context, id int64, at time.Time) error {
	doing := fmt.Sprintf("take back event %d", id)
	if s.w == nil {
		return s.readOnly(doing)
	}
	err := s.write(ctx, func(ctx context.Context, tx *sql.Tx) error {
		var kind string
		var undone sql.NullInt64
		if err := tx.QueryRowContext(ctx, "SELECT kind, undone_us FROM event WHERE id = ?", id).Scan(
			&kind, &undone); err != nil {
			return err
		}
		switch {
		case undone.Valid:
			return fmt.Errorf("%w: it was taken back on %s", ErrEvent, fromMicros(undone.Int64).Local().Format(
				"2006-01-02 15:04 MST"))
		case kind == hoursEvent:
			return fmt.Errorf("%w: the hour meter goes on from what was typed; log the right hours instead", ErrEvent)
		}
		_, err := tx.ExecContext(ctx, "UPDATE event SET undone_us = ? WHERE id = ?", micros(at), id)
		return err
	})
	return s.fault(doing, err)
}

// Events returns up to limit events (at most 1000), the last stored first, with those that were taken back.
func (s *Store) Events(ctx context.Context, limit int) ([]Event, error) {
	const doing = "list events"
	rows, err := s.r.QueryContext(ctx,
		"SELECT id, at_us, kind, text, coalesce(run_id, 0), clock_set = 0, moved, undone_us, "+s.sound["event"]+
			" FROM event ORDER BY id DESC LIMIT ?",
		min(max(limit, 0), maxPage))
	if err != nil {
		return nil, s.fault(doing, err)
	}
	defer rows.Close()
	var out []Event
	for rows.Next() {
		var e Event
		var at int64
		var moved sql.NullString
		var undone sql.NullInt64
		var sound bool
		if err := rows.Scan(&e.ID, &at, &e.Kind, &e.Text, &e.Run, &e.ClockUnset, &moved, &undone, &sound); err != nil {
			spoiled, err := bare(rows)
			if err != nil {
				return nil, s.fault(doing, err)
			}
			e, sound = Event{ID: spoiled.run.ID}, false
		}
		if sound && moved.Valid {
			sound = json.Unmarshal([]byte(moved.String), &e.Moved) == nil
		}
		if !sound {
			e.Damage = s.spoiled(fmt.Sprintf("event %d", e.ID), 0)
		}
		e.At = fromMicros(at)
		if undone.Valid {
			t := fromMicros(undone.Int64)
			e.Undone = &t
		}
		out = append(out, e)
	}
	return out, s.fault(doing, rows.Err())
}
