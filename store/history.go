package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"tramd/sweep"
	"tramd/sweep/drift"
)

// Mark says how far a history was read, so that the next reading need only bring what came after.
type Mark struct{ Run, Event int64 }

// History returns the checks and events of a machine after a mark, in the order of their time: finished sweeps taken to
// check, the events that were logged, and what else changed what a check means (a sweep taken to adjust, another
// surface). What has no believable time is left out with a warning. The mark to go on from comes with it.
func (s *Store) History(ctx context.Context, machine string, after Mark) (*drift.History, Mark, error) {
	h := &drift.History{}
	// Not to be cut short: the driver starts a goroutine for every row of a query that can be.
	b := historian{s: s, ctx: context.WithoutCancel(ctx), h: h, machine: machine, mark: after}
	if err := b.runs(); err != nil {
		return nil, after, s.fault("read the checks", err)
	}
	if err := b.events(); err != nil {
		return nil, after, s.fault("read the events", err)
	}
	slices.SortStableFunc(h.Entries, func(a, c drift.Entry) int { return entryTime(a).Compare(entryTime(c)) })
	b.conclude()
	return h, b.mark, nil
}

func entryTime(e drift.Entry) time.Time {
	if e.Event != nil {
		return e.Event.Time
	}
	return e.Check.Time
}

type historian struct {
	s       *Store
	ctx     context.Context
	h       *drift.History
	machine string
	mark    Mark
	surface string
	seen    bool // a run of the machine
	noDate  int
	first   int64 // run without a date
	absurd  int   // temperatures that cannot be
	odd     int64 // run with the first of them
	bad     int   // runs that are not as they were written
	worst   int64 // the first of them
	newest  bool  // the newest of them comes after all that are dated
}

func (b *historian) runs() error {
	rows, err := b.s.r.QueryContext(b.ctx, `SELECT run.id, purpose, setup_id, started_us, clock_set,
		spindle_hours, temperature_c, `+lineJSON+` ->> '$.tilt.mm_per_m', `+lineJSON+` ->> '$.tilt.u_mm_per_m', `+lineJSON+` ->> '$.nod.mm_per_m', `+lineJSON+` ->> '$.nod.u_mm_per_m',
		coalesce(`+lineJSON+` ->> '$.tilt.dof', `+lineJSON+` ->> '$.dof'), coalesce(`+lineJSON+` ->> '$.nod.dof', `+lineJSON+` ->> '$.dof'),
		`+b.s.sound["run"]+" AND "+b.s.sound["line"]+`
		FROM run JOIN line ON line.run_id = run.id
		WHERE kind = 'sweep' AND outcome = 'finished' AND run.id > ? ORDER BY run.id`, b.mark.Run)
	if err != nil {
		return err
	}
	type row struct {
		id, setup, started int64
		purpose            string
		dated              bool
		hours, celsius     sql.NullFloat64
		x                  [4]sql.NullFloat64
		dof                [2]sql.NullFloat64
		sound              bool
	}
	var found []row
	for rows.Next() {
		var r row
		if err := rows.Scan(&r.id, &r.purpose, &r.setup, &r.started, &r.dated, &r.hours, &r.celsius, &r.x[0], &r.x[1],
			&r.x[2], &r.x[3], &r.dof[0], &r.dof[1], &r.sound); err != nil {
			spoiled, err := bare(rows)
			if err != nil {
				return errors.Join(err, rows.Close())
			}
			r.id, r.sound = spoiled.run.ID, false
		}
		found = append(found, r)
	}
	if err := errors.Join(rows.Err(), rows.Close()); err != nil {
		return err
	}
	for _, r := range found { // after the query, so that no connection is held while another is asked for
		b.mark.Run = r.id
		if !r.sound {
			b.spoiled(r.id)
			continue
		}
		setup, _, err := b.s.setup(b.ctx, b.s.r, r.setup)
		if errors.Is(err, ErrDamaged) {
			b.spoiled(r.id)
			continue
		}
		if err != nil {
			return fmt.Errorf("run %d: %w", r.id, err)
		}
		if setup.Machine != b.machine {
			continue
		}
		if !r.dated {
			b.undated(r.id)
			continue
		}
		at := fromMicros(r.started)
		b.newest = false
		if b.seen && setup.Surface != b.surface {
			b.event(at, "moved", fmt.Sprintf("swept on %q instead of %q", setup.Surface, b.surface), r.id)
		}
		b.surface, b.seen = setup.Surface, true
		if r.purpose != "check" {
			b.event(at, "adjusted", fmt.Sprintf("run %d was taken to %s", r.id, r.purpose), r.id)
			continue
		}
		c := &drift.Check{Time: at, Limit: setup.Tolerance.Limit.MMPerM(), SpindleHours: math.NaN()}
		if r.hours.Valid {
			c.SpindleHours = r.hours.Float64
		}
		if r.celsius.Valid {
			b.temperature(c, r.celsius.Float64, r.id)
		}
		for i := range c.Axis {
			if v, u := r.x[2*i], r.x[2*i+1]; v.Valid {
				c.Axis[i], c.DoF[i] = &drift.Value{MMPerM: v.Float64, U: u.Float64}, r.dof[i].Float64
			}
		}
		if c.Axis[0] != nil || c.Axis[1] != nil {
			b.h.Entries = append(b.h.Entries, drift.Entry{Check: c, Place: int(r.id), Surface: setup.Surface})
		}
	}
	return nil
}

// temperature gives a check its temperature, unless that cannot be the machine's: a sensor for something else was read,
// or one that was broken.
func (b *historian) temperature(c *drift.Check, celsius float64, run int64) {
	if err := drift.JudgeTemperature(celsius); err == nil {
		c.TemperatureC = &celsius
	} else if b.absurd++; b.absurd == 1 {
		b.odd = run
	}
}

// spoiled leaves out a run of which the row, the result or the setup is not as it was written.
func (b *historian) spoiled(run int64) {
	if b.bad++; b.bad == 1 {
		b.worst = run
	}
	// Reading it in full finds out which, and reports it.
	_, _ = b.s.Find(b.ctx, Which{Before: run + 1, Limit: 1})
	_, _ = b.s.Lines(b.ctx, Which{Before: run + 1, Limit: 1})
}

func (b *historian) undated(run int64) {
	if b.noDate++; b.noDate == 1 {
		b.first = run
	}
	b.newest = true
}

func (b *historian) event(at time.Time, kind, text string, run int64) {
	b.h.Entries = append(b.h.Entries, drift.Entry{Event: &drift.Event{Time: at, Kind: kind, Text: text},
		Place: int(run)})
}

func (b *historian) events() error {
	rows, err := b.s.r.QueryContext(b.ctx, "SELECT id, at_us, kind, text, clock_set, "+b.s.sound["event"]+
		" FROM event WHERE id > ? AND undone_us IS NULL ORDER BY id", b.mark.Event)
	if err != nil {
		return err
	}
	defer rows.Close()
	undated := 0
	for rows.Next() {
		var at int64
		var kind, text string
		var dated, sound bool
		if err := rows.Scan(&b.mark.Event, &at, &kind, &text, &dated, &sound); err != nil {
			spoiled, err := bare(rows)
			if err != nil {
				return err
			}
			b.mark.Event, sound = spoiled.run.ID, false
		}
		if !sound { // the machine may be another one since, but not even the day is to be believed
			_ = b.s.spoiled(fmt.Sprintf("event %d", b.mark.Event), 0)
			b.warn("record_damaged", "event %d is not as it was written; left out", b.mark.Event)
			continue
		}
		if !dated {
			undated++
			continue
		}
		if kind == hoursEvent {
			if x, err := parseHours(text); err == nil {
				b.h.Entries = append(b.h.Entries,
					drift.Entry{Event: &drift.Event{Time: fromMicros(at), Kind: kind, Hours: x}})
			}
			continue
		}
		b.event(fromMicros(at), kind, text, 0)
	}
	if undated > 0 {
		b.warn("event_undated", "events from before the clock was set: %d; left out until it is set in the same boot",
			undated)
	}
	return rows.Err()
}

func (b *historian) warn(code, format string, args ...any) {
	b.h.Warnings = append(b.h.Warnings, sweep.Warning{Code: code, Text: fmt.Sprintf(format, args...)})
}

// conclude says what was left out.
func (b *historian) conclude() {
	if b.noDate > 0 {
		b.warn("clock_not_set",
			"checks from before the clock was set, run %d the first: %d; left out, since their dates are not known",
			b.first, b.noDate)
	}
	if b.bad > 0 {
		b.warn("record_damaged",
			"checks that are not as they were written, run %d the first: %d; left out until they are fitted again or a backup is restored",
			b.worst, b.bad)
	}
	if b.absurd > 0 {
		b.warn("temperature_absurd",
			"run %d: %d stored with a temperature below %.0f or above %.0f degrees Celsius, which is no machine's; taken as not known: look at the sensor",
			b.odd, b.absurd, drift.ColdestC, drift.HottestC)
	}
	if b.newest {
		b.h.Undated = b.noDate
	}
	b.h.Warnings = append(b.h.Warnings, b.h.Look("run")...)
}

// hoursEvent is the kind of an event that says what the spindle's hour counter showed.
const hoursEvent = drift.HoursEvent

// maxHours bounds a running time: more than a thousand years are no machine's.
const maxHours = 1e7

// parseHours reads a counter: hours with a decimal point.
func parseHours(text string) (float64, error) {
	x, err := strconv.ParseFloat(strings.TrimSpace(text), 64)
	if err != nil || !(x >= 0 && x < maxHours) || strings.ContainsAny(text, "xXpP_") {
		return 0, fmt.Errorf("hours %q: write what the spindle's hour counter shows, such as 1234.5", text)
	}
	return x, nil
}
