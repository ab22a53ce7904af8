package service

import (
	"context"
	"errors"
	"io"
	"time"

	"tramd/cmd/tramd/internal/api"
	"tramd/cmd/tramd/internal/assembly"
	"tramd/cmd/tramd/internal/clock"
	"tramd/cmd/tramd/internal/runs"
	"tramd/cmd/tramd/internal/session"
	"tramd/store"
)

// Runs returns stored runs, newest first, from before a run or from the newest.
func (s *Service) Runs(ctx context.Context, before int64, limit int) (any, error) {
	return s.Store.List(ctx, before, limit)
}

// Run returns a run, stored or not yet.
func (s *Service) Run(ctx context.Context, id int64) (any, error) {
	if run, held, err := s.unstored(ctx, id); held || err != nil {
		return run, err
	}
	run, err := s.Store.Run(ctx, id)
	if err != nil {
		return nil, runs.NotFound(err)
	}
	if run.Result == nil && run.Raw != nil { // of another kind: as it was stored
		return store.Line{Run: run, Result: run.Raw}, nil
	}
	return run, nil
}

// unstored returns a run that the session holds in memory alone, as it would stand in the record, and marked.
func (s *Service) unstored(ctx context.Context, id int64) (found any, held bool, err error) {
	x, err := s.Session.Unstored(ctx, id)
	if errors.Is(err, session.ErrNotAside) {
		return nil, false, nil
	}
	out := store.Run{ID: x.Run, Kind: x.Kind, Subject: x.Subject, Purpose: x.Purpose, Outcome: store.Outcome(x.Outcome), StartedAt: x.Started,
		EndedAt: x.At, ClockSet: s.ClockSet(), Setup: x.Setup, Tolerance: x.Setup.Tolerance.Text, Readings: x.Readings, Result: x.Result, Why: x.Why,
		Unstored: true}
	if x.Found != nil {
		return store.Line{Run: out, Result: x.Found.JSON}, true, err
	}
	return out, true, err
}

// AddEvent stores that something happened to the machine.
func (s *Service) AddEvent(ctx context.Context, e api.Event) (int64, error) {
	if err := runs.CheckMoves(s.Config, e.Kind, e.Moved); err != nil {
		return 0, api.Invalid.Of(err)
	}
	set := s.ClockSet()
	event := store.Event{
		At: time.Now(), Kind: e.Kind, Text: e.Text, Run: e.Run, Moved: e.Moved, Tightened: (*store.Tightened)(e.Tightened), BootTime: clock.SinceBoot(), ClockUnset: !set,
	}
	add := func() (int64, error) { return s.Store.AddEvent(ctx, event) }
	var id int64
	var err error
	if x, typed := event.TypedHours(); typed {
		id, err = s.Hours.Type(x, add)
	} else {
		id, err = add()
	}
	if errors.Is(err, store.ErrEvent) {
		return 0, api.Invalid.Of(err)
	}
	if err == nil {
		s.History.Changed(false)
	}
	return id, err
}

// Events returns what happened to the machine, the last stored first.
func (s *Service) Events(ctx context.Context, limit int) (any, error) {
	list, err := s.Store.Events(ctx, limit)
	if list == nil {
		list = []store.Event{} // an empty list in JSON, not null
	}
	return list, err
}

// UndoEvent takes an event back; what the history said of it is worked out again.
func (s *Service) UndoEvent(ctx context.Context, id int64) error {
	err := s.Store.UndoEvent(ctx, id, time.Now())
	switch {
	case errors.Is(err, store.ErrEvent):
		return api.Invalid.Of(err)
	case err != nil:
		return runs.NotFound(err)
	}
	s.History.Changed(true)
	return nil
}

// WriteReadingsCSV writes the readings of a run, stored or not yet.
func (s *Service) WriteReadingsCSV(ctx context.Context, id int64, w io.Writer) error {
	x, err := s.Session.Unstored(ctx, id) // what is not stored can be saved elsewhere
	switch {
	case errors.Is(err, session.ErrNotAside):
	case err != nil:
		return err
	case x.Spots != nil:
		return assembly.WriteCSV(w, x.Kind, assembly.SamplesAt(x.Points, x.Spots), x.Setup)
	default:
		return runs.WriteCSV(w, x.Setup, x.Points)
	}
	run, err := s.Store.Run(ctx, id)
	if err != nil {
		return runs.NotFound(err)
	}
	samples, err := s.Store.Samples(ctx, id)
	if err != nil {
		return runs.NotFound(err)
	}
	if assembly.Knows(run.Kind) {
		return assembly.WriteCSV(w, run.Kind, assembly.Believed(samples, run.Doubts), run.Setup)
	}
	return runs.WriteCSV(w, run.Setup, samples.Points)
}
