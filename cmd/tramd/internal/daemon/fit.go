package daemon

import (
	"context"
	"time"
	"tramd/cmd/tramd/internal/runs"
	"tramd/cmd/tramd/internal/session"
	"tramd/sweep"
	"tramd/sweep/mixed"
)

// fit fits a run by the model the daemon was given, with what the record knows.
func (d *Daemon) fit(pts []sweep.Point, setup sweep.Setup) (sweep.Result, error) {
	defer d.trim() // or the daemon stays as large as the largest fit made it, for minutes
	ctx, cancel := context.WithTimeout(context.Background(), 2*time.Second)
	defer cancel()
	return runs.FitKnowing(ctx, d.store, 0, pts, setup, d.o.Fit, d.o.Log)
}

// follow fits a sweep that goes on, and gives what carries the fit on with the readings to come.
func (d *Daemon) follow(pts []sweep.Point, setup sweep.Setup, pace func()) (session.Following, sweep.Result, error) {
	ctx, cancel := context.WithTimeout(context.Background(), 2*time.Second)
	defer cancel()
	var f *mixed.Filter
	r, err := runs.FitKnowing(ctx, d.store, 0, pts, setup, func(pts []sweep.Point, setup sweep.Setup, known mixed.Options) (sweep.Result, error) {
		known.Pace, known.BothWays = pace, d.cfg.Sweep.Both
		var r sweep.Result
		var err error
		f, r, err = mixed.Begin(pts, setup, known)
		return r, err
	}, d.o.Log)
	if err != nil || f == nil {
		return nil, r, err
	}
	f.Said(r)
	return f, r, nil
}
