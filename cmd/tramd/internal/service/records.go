package service

import (
	"context"
	"encoding/json"
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
func (s *Service) Runs(ctx context.Context, before int64, limit int) ([]api.Run, error) {
	lines, err := s.Store.List(ctx, before, limit)
	out := make([]api.Run, len(lines))
	for i := range lines {
		out[i] = answer(&lines[i].Run, lines[i].Result)
	}
	return out, err
}

// Run returns a run, stored or not yet.
func (s *Service) Run(ctx context.Context, id int64) (api.Run, error) {
	run, raw, held, err := s.unstored(ctx, id)
	if err == nil && !held {
		run, err = s.Store.Run(ctx, id)
		raw = run.Raw
	}
	if err == nil && run.Result != nil { // as today's model writes it
		raw, err = json.Marshal(run.Result)
	}
	return answer(&run, raw), runs.NotFound(err)
}

// unstored returns a run that the session holds in memory alone, as it would stand in the record, and marked.
func (s *Service) unstored(ctx context.Context, id int64) (out store.Run, raw json.RawMessage, held bool, err error) {
	x, err := s.Session.Unstored(ctx, id)
	if errors.Is(err, session.ErrNotAside) {
		return out, nil, false, nil
	}
	if x.Found != nil {
		raw = x.Found.JSON
	}
	return store.Run{ID: x.Run, Kind: x.Kind, Subject: x.Subject, Purpose: x.Purpose, Outcome: store.Outcome(x.Outcome),
		StartedAt: x.Started,
		EndedAt:   x.At, ClockSet: s.ClockSet(), Setup: x.Setup, Tolerance: x.Setup.Tolerance.Text,
		Readings: x.Readings,
		Result:   x.Result, Why: x.Why,
		Unstored: true}, raw, true, err
}

// answer returns a run as the API gives it.
func answer(r *store.Run, result json.RawMessage) api.Run {
	return api.Run{
		ID: r.ID, Kind: r.Kind, Subject: r.Subject, Purpose: r.Purpose, Outcome: string(r.Outcome),
		StartedAt: r.StartedAt, EndedAt: r.EndedAt,
		ClockSet: r.ClockSet, BootID: r.BootID, BootTime: r.BootTime, Setup: r.Setup, Tolerance: r.Tolerance,
		Readings: r.Readings, Untagged: r.Untagged,
		Doubts: r.Doubts, Result: result, Why: r.Why, Note: r.Note, Log: r.Log, Own: r.Own,
		ReadingsGone: r.ReadingsGone, Missing: r.Missing,
		Origin: r.Origin, Damage: r.Damage, Unstored: r.Unstored, TemperatureC: r.TemperatureC,
		SpindleHours: r.SpindleHours,
	}
}

// AddEvent stores that something happened to the machine.
func (s *Service) AddEvent(ctx context.Context, e api.NewEvent) (int64, error) {
	if err := runs.CheckMoves(s.Config, e.Kind, e.Moved); err != nil {
		return 0, api.Invalid.Of(err)
	}
	set := s.ClockSet()
	event := store.Event{
		At: time.Now(), Kind: e.Kind, Text: e.Text, Run: e.Run, Moved: e.Moved,
		Tightened: (*store.Tightened)(e.Tightened), BootTime: clock.SinceBoot(), ClockUnset: !set,
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
func (s *Service) Events(ctx context.Context, limit int) ([]api.Event, error) {
	list, err := s.Store.Events(ctx, limit)
	out := make([]api.Event, len(list))
	for i, e := range list {
		out[i] = api.Event{ID: e.ID, At: e.At, Kind: e.Kind, Text: e.Text, Run: e.Run, Moved: e.Moved,
			Tightened:  (*api.Tightened)(e.Tightened),
			ClockUnset: e.ClockUnset, Damage: e.Damage, Undone: e.Undone}
	}
	return out, err
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
