package daemon

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"time"

	"tramd/cmd/tramd/internal/assembly"
	"tramd/cmd/tramd/internal/clock"
	"tramd/cmd/tramd/internal/config"
	"tramd/cmd/tramd/internal/session"
	"tramd/cmd/tramd/internal/web"
	"tramd/store"
	"tramd/sweep"
)

// archive is the session's way into the store.
type archive struct {
	store       *store.Store
	clockSet    func() bool
	temperature func() *float64 // may be nil
	hours       *hourMeter      // may be nil
	changed     func(all bool)  // called when something was stored that changes the history; may be nil
	assembled   *assembled      // hears of each stored measurement that is no sweep; may be nil
}

func (a *archive) BeginRun(ctx context.Context, b session.Beginning) (int64, error) {
	set := a.clockSet() // before the time is read: what is read after may be believed
	run := store.NewRun{
		Kind: b.Kind, Subject: b.Subject, Purpose: b.Purpose, Setup: b.Setup, Own: b.Own, StartedAt: time.Now(), BootTime: clock.SinceBoot(), ClockSet: set,
	}
	if a.temperature != nil {
		run.TemperatureC = a.temperature()
	}
	var id int64
	var err error
	if a.hours == nil {
		id, err = a.store.BeginRun(ctx, run)
	} else {
		id, err = a.hours.begin(ctx, func(m *store.Meter) (int64, error) {
			run.Meter = m
			return a.store.BeginRun(ctx, run)
		})
	}
	if errors.Is(err, store.ErrFull) || errors.Is(err, store.ErrReadOnly) {
		return 0, a.unwritable(ctx, run, err)
	}
	return id, err
}

// unwritable keeps what is known of a run at its beginning, so that it can be stored later.
func (a *archive) unwritable(ctx context.Context, run store.NewRun, why error) error {
	if run.Meter != nil {
		hours := run.Meter.Hours
		run.Meter, run.SpindleHours = nil, &hours
	}
	next, err := a.store.NextRun(ctx)
	if err != nil {
		next = 0
	}
	return &session.Unwritable{Why: why, Next: next, Beginning: run}
}

// BeginAgain stores the beginning of a run that could not be stored when it was.
func (a *archive) BeginAgain(ctx context.Context, beginning any) (int64, error) {
	run, ok := beginning.(store.NewRun)
	if !ok {
		return 0, fmt.Errorf("%T is no beginning of a run", beginning)
	}
	return a.store.BeginRun(ctx, run)
}

func (a *archive) AppendPoints(ctx context.Context, run int64, pts []sweep.Point, places []session.Place) error {
	if places != nil {
		return a.store.AppendSamples(ctx, run, assembly.SamplesAt(pts, places))
	}
	return a.store.AppendPoints(ctx, run, pts)
}

func (a *archive) AddDoubt(ctx context.Context, run int64, d sweep.Doubt) error {
	return a.store.AddDoubt(ctx, run, d)
}

func (a *archive) FinishRun(ctx context.Context, run int64, end session.Ending) error {
	if f := end.Found; f != nil {
		err := a.store.FinishRunWith(ctx, run, store.Outcome(end.Outcome), end.At, end.Why, &store.Finding{Model: f.Model, Version: f.Version, JSON: f.JSON})
		if err == nil && a.assembled != nil {
			a.assembled.changed()
		}
		return err
	}
	err := a.store.FinishRun(ctx, run, store.Outcome(end.Outcome), end.At, end.Why, end.Result)
	if err == nil && a.changed != nil {
		a.changed(false)
	}
	return err
}

// records is the pages' way into the store.
type records struct {
	store    *store.Store
	clockSet func() bool
	changed  func(anew bool)
	cfg      *config.Config
	hours    *hourMeter
	session  *session.Session // holds what is not stored yet; may be nil
}

func (r *records) Runs(ctx context.Context, before int64, limit int) (any, error) {
	return r.store.List(ctx, before, limit)
}

func (r *records) Run(ctx context.Context, id int64) (any, error) {
	if run, held, err := r.unstored(ctx, id); held || err != nil {
		return run, err
	}
	run, err := r.store.Run(ctx, id)
	if err != nil {
		return nil, notFound(err)
	}
	if run.Result == nil && run.Raw != nil { // of another kind: as it was stored
		return store.Line{Run: run, Result: run.Raw}, nil
	}
	return run, nil
}

// unstored returns a run that the session holds in memory alone, as it would stand in the record, and marked.
func (r *records) unstored(ctx context.Context, id int64) (run any, held bool, err error) {
	if r.session == nil {
		return nil, false, nil
	}
	x, err := r.session.Unstored(ctx, id)
	if errors.Is(err, session.ErrNotAside) {
		return nil, false, nil
	}
	out := store.Run{ID: x.Run, Kind: x.Kind, Subject: x.Subject, Purpose: x.Purpose, Outcome: store.Outcome(x.Outcome), StartedAt: x.Started,
		EndedAt: x.At, ClockSet: r.clockSet(), Setup: x.Setup, Tolerance: x.Setup.Tolerance.Text, Readings: x.Readings, Result: x.Result, Why: x.Why,
		Unstored: true}
	if x.Found != nil {
		return store.Line{Run: out, Result: x.Found.JSON}, true, err
	}
	return out, true, err
}

func (r *records) AddEvent(ctx context.Context, e web.Event) (int64, error) {
	if err := checkMoves(r.cfg, e.Kind, e.Moved); err != nil {
		return 0, web.Wrong(err)
	}
	set := r.clockSet()
	event := store.Event{
		At: time.Now(), Kind: e.Kind, Text: e.Text, Run: e.Run, Moved: e.Moved, Tightened: (*store.Tightened)(e.Tightened), BootTime: clock.SinceBoot(), ClockUnset: !set,
	}
	add := func() (int64, error) { return r.store.AddEvent(ctx, event) }
	var id int64
	var err error
	if x, typed := event.TypedHours(); typed && r.hours != nil {
		id, err = r.hours.typed(x, add)
	} else {
		id, err = add()
	}
	if errors.Is(err, store.ErrEvent) {
		return 0, web.Wrong(err)
	}
	if err == nil && r.changed != nil {
		r.changed(false)
	}
	return id, err
}

func (r *records) Events(ctx context.Context, limit int) (any, error) {
	list, err := r.store.Events(ctx, limit)
	if list == nil {
		list = []store.Event{} // an empty list in JSON, not null
	}
	return list, err
}

// UndoEvent takes an event back; what the history said of it is worked out again.
func (r *records) UndoEvent(ctx context.Context, id int64) error {
	err := r.store.UndoEvent(ctx, id, time.Now())
	switch {
	case errors.Is(err, store.ErrEvent):
		return web.Wrong(err)
	case err != nil:
		return notFound(err)
	}
	if r.changed != nil {
		r.changed(true)
	}
	return nil
}

func (r *records) WriteReadingsCSV(ctx context.Context, id int64, w io.Writer) error {
	if r.session != nil { // what is not stored can be saved elsewhere
		x, err := r.session.Unstored(ctx, id)
		switch {
		case errors.Is(err, session.ErrNotAside):
		case err != nil:
			return err
		case x.Places != nil:
			return assembly.WriteCSV(w, x.Kind, assembly.SamplesAt(x.Points, x.Places), x.Setup)
		default:
			return WriteCSV(w, x.Setup, x.Points)
		}
	}
	run, err := r.store.Run(ctx, id)
	if err != nil {
		return notFound(err)
	}
	samples, err := r.store.Samples(ctx, id)
	if err != nil {
		return notFound(err)
	}
	if assembly.Knows(run.Kind) {
		return assembly.WriteCSV(w, run.Kind, assembly.Believed(samples, run.Doubts), run.Setup)
	}
	return WriteCSV(w, run.Setup, samples.Points)
}

// WriteCSV writes readings as a recorded sweep, at the resolution the store keeps: 1 µs, 0.0001 degree, 1 nm.
func WriteCSV(w io.Writer, setup sweep.Setup, pts []sweep.Point) error {
	out := bufio.NewWriter(w)
	if _, err := out.WriteString(sweep.CSVHeader + "\n"); err != nil {
		return err
	}
	var line []byte
	for _, p := range pts {
		line = strconv.AppendFloat(line[:0], p.T, 'f', 6, 64)
		line = append(line, ',')
		if !math.IsNaN(p.Angle) {
			line = strconv.AppendFloat(line, sweep.Degrees(p.Angle), 'f', 4, 64)
		}
		line = append(line, ',')
		line = strconv.AppendFloat(line, p.Reading, 'f', 6, 64)
		line = append(line, ',')
		if p.Indicator >= 0 && p.Indicator < len(setup.Indicators) {
			line = append(line, setup.Indicators[p.Indicator].Name...)
		}
		line = append(line, '\n')
		if _, err := out.Write(line); err != nil {
			return err
		}
	}
	return out.Flush()
}
