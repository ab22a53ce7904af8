package archive

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"time"

	"tramd/cmd/tramd/internal/assembly"
	"tramd/cmd/tramd/internal/clock"
	"tramd/cmd/tramd/internal/config"
	"tramd/cmd/tramd/internal/history"
	"tramd/cmd/tramd/internal/hours"
	"tramd/cmd/tramd/internal/session"
	"tramd/cmd/tramd/internal/temperature"
	"tramd/store"
	"tramd/sweep"
)

// Archive stores what the session measures.
type Archive struct {
	Store       *store.Store
	Config      *config.Config
	ClockSet    func() bool
	Temperature *temperature.Thermometer
	Hours       *hours.Recorder
	History     *history.Follower
	Log         *slog.Logger
}

// BeginRun stores the beginning of a run.
func (a *Archive) BeginRun(ctx context.Context, b session.Beginning) (int64, error) {
	set := a.ClockSet() // before the time is read: what is read after may be believed
	run := store.NewRun{
		Kind: b.Kind, Subject: b.Subject, Purpose: b.Purpose, Setup: b.Setup, Own: b.Own, StartedAt: time.Now(),
		BootTime: clock.SinceBoot(), ClockSet: set,
		TemperatureC: a.Temperature.Now(),
	}
	id, err := a.Hours.Begin(ctx, func(m *store.Meter) (int64, error) {
		run.Meter = m
		return a.Store.BeginRun(ctx, run)
	})
	if errors.Is(err, store.ErrFull) || errors.Is(err, store.ErrReadOnly) {
		return 0, a.unwritable(ctx, run, err)
	}
	return id, err
}

// unwritable keeps what is known of a run at its beginning, so that it can be stored later.
func (a *Archive) unwritable(ctx context.Context, run store.NewRun, why error) error {
	if run.Meter != nil {
		hours := run.Meter.Hours
		run.Meter, run.SpindleHours = nil, &hours
	}
	next, err := a.Store.NextRun(ctx)
	if err != nil {
		next = 0
	}
	return &session.Unwritable{Why: why, Next: next, Beginning: run}
}

// BeginAgain stores the beginning of a run that could not be stored when it was.
func (a *Archive) BeginAgain(ctx context.Context, beginning any) (int64, error) {
	run, ok := beginning.(store.NewRun)
	if !ok {
		return 0, fmt.Errorf("%T is no beginning of a run", beginning)
	}
	return a.Store.BeginRun(ctx, run)
}

// AppendPoints stores readings of a run.
func (a *Archive) AppendPoints(ctx context.Context, run int64, pts []sweep.Point, spots *session.Spots) error {
	if spots != nil {
		return a.Store.AppendSamples(ctx, run, assembly.SamplesAt(pts, spots))
	}
	return a.Store.AppendPoints(ctx, run, pts)
}

// AddDoubt stores a stretch of readings whose angles turned out wrong.
func (a *Archive) AddDoubt(ctx context.Context, run int64, d sweep.Doubt) error {
	return a.Store.AddDoubt(ctx, run, d)
}

// FinishRun stores how a run ended, and has the history worked out again.
func (a *Archive) FinishRun(ctx context.Context, run int64, end session.Ending) error {
	var err error
	if f := end.Found; f != nil {
		err = a.Store.FinishRunWith(ctx, run, store.Outcome(end.Outcome), end.At, end.Why,
			&store.Finding{Model: f.Model, Version: f.Version, JSON: f.JSON})
	} else {
		err = a.Store.FinishRun(ctx, run, store.Outcome(end.Outcome), end.At, end.Why, end.Result)
	}
	if err == nil {
		a.History.Changed(false)
	}
	return err
}
