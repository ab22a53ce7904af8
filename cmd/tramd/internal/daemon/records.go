package daemon

import (
	"context"
	"errors"
	"io"
	"time"
	"tramd/cmd/tramd/internal/api"
	"tramd/cmd/tramd/internal/assembly"
	"tramd/cmd/tramd/internal/clock"
	"tramd/cmd/tramd/internal/config"
	"tramd/cmd/tramd/internal/runs"
	"tramd/cmd/tramd/internal/session"
	"tramd/cmd/tramd/internal/web"
	"tramd/store"
)

// records is the pages' way into the store.
type records struct {
	store    *store.Store
	clockSet func() bool
	changed  func(all bool)
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
		return nil, runs.NotFound(err)
	}
	if run.Result == nil && run.Raw != nil { // of another kind: as it was stored
		return store.Line{Run: run, Result: run.Raw}, nil
	}
	return run, nil
}

// unstored returns a run that the session holds in memory alone, as it would stand in the record, and marked.
func (r *records) unstored(ctx context.Context, id int64) (found any, held bool, err error) {
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
	if err := runs.CheckMoves(r.cfg, e.Kind, e.Moved); err != nil {
		return 0, api.Invalid.Of(err)
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
		return 0, api.Invalid.Of(err)
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
		return api.Invalid.Of(err)
	case err != nil:
		return runs.NotFound(err)
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
		case x.Spots != nil:
			return assembly.WriteCSV(w, x.Kind, assembly.SamplesAt(x.Points, x.Spots), x.Setup)
		default:
			return runs.WriteCSV(w, x.Setup, x.Points)
		}
	}
	run, err := r.store.Run(ctx, id)
	if err != nil {
		return runs.NotFound(err)
	}
	samples, err := r.store.Samples(ctx, id)
	if err != nil {
		return runs.NotFound(err)
	}
	if assembly.Knows(run.Kind) {
		return assembly.WriteCSV(w, run.Kind, assembly.Believed(samples, run.Doubts), run.Setup)
	}
	return runs.WriteCSV(w, run.Setup, samples.Points)
}
