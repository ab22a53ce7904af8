package runs

import (
	"context"
	"log/slog"
	"time"

	"tramd/cmd/tramd/internal/memtrim"
	"tramd/cmd/tramd/internal/session"
	"tramd/store"
	"tramd/sweep"
	"tramd/sweep/mixed"
)

// Fitter fits what the session measures, with what the record knows.
type Fitter struct {
	Store    *store.Store
	Model    FitFunc
	BothWays bool // sweeps go round and back
	Log      *slog.Logger
}

// Fit fits a run that has ended.
func (f *Fitter) Fit(pts []sweep.Point, setup sweep.Setup) (sweep.Result, error) {
	defer memtrim.Try(f.Log) // or the daemon stays as large as the largest fit made it, for minutes
	ctx, cancel := context.WithTimeout(context.Background(), 2*time.Second)
	defer cancel()
	return FitKnowing(ctx, f.Store, 0, pts, setup, f.Model, f.Log)
}

// Follow fits a sweep that goes on, and returns what carries the fit on with the readings to come.
func (f *Fitter) Follow(pts []sweep.Point, setup sweep.Setup, pace func()) (session.Following, sweep.Result, error) {
	ctx, cancel := context.WithTimeout(context.Background(), 2*time.Second)
	defer cancel()
	var filter *mixed.Filter
	r, err := FitKnowing(ctx, f.Store, 0, pts, setup, func(pts []sweep.Point, setup sweep.Setup, known mixed.Options) (
		sweep.Result, error) {
		known.Pace, known.BothWays = pace, f.BothWays
		var r sweep.Result
		var err error
		filter, r, err = mixed.Begin(pts, setup, known)
		return r, err
	}, f.Log)
	if err != nil || filter == nil {
		return nil, r, err
	}
	filter.Said(r)
	return filter, r, nil
}
