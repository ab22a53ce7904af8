package daemon

import (
	"context"
	"errors"
	"fmt"
	"time"

	"tramd/cmd/tramd/internal/assembly"
	"tramd/cmd/tramd/internal/clock"
	"tramd/cmd/tramd/internal/session"
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

func (a *archive) AppendPoints(ctx context.Context, run int64, pts []sweep.Point, spots *session.Spots) error {
	if spots != nil {
		return a.store.AppendSamples(ctx, run, assembly.SamplesAt(pts, spots))
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
