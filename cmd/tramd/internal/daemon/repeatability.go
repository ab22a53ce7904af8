package daemon

import (
	"context"
	"log/slog"
	"math"
	"time"

	"tramd/cmd/tramd/internal/session"
	"tramd/store"
	"tramd/sweep"
	"tramd/sweep/mixed"
)

// pooledRuns is how many of the latest runs the pooled repeatability rests on.
const pooledRuns = 50

// fewReadings is the size of a run that says little of its own repeatability.
const fewReadings = 36

// FitFunc is a model that runs are concluded by.
type FitFunc = func([]sweep.Point, sweep.Setup, mixed.Options) (sweep.Result, error)

// fit fits a run by the model the daemon was given, with what the record knows.
func (d *Daemon) fit(pts []sweep.Point, setup sweep.Setup) (sweep.Result, error) {
	defer d.trim() // or the daemon stays as large as the largest fit made it, for minutes
	ctx, cancel := context.WithTimeout(context.Background(), 2*time.Second)
	defer cancel()
	return FitKnowing(ctx, d.store, 0, pts, setup, d.o.Fit, d.o.Log)
}

// follow fits a sweep that goes on, and gives what carries the fit on with the readings to come.
func (d *Daemon) follow(pts []sweep.Point, setup sweep.Setup, pace func()) (session.Following, sweep.Result, error) {
	ctx, cancel := context.WithTimeout(context.Background(), 2*time.Second)
	defer cancel()
	var f *mixed.Filter
	r, err := FitKnowing(ctx, d.store, 0, pts, setup, func(pts []sweep.Point, setup sweep.Setup, known mixed.Options) (sweep.Result, error) {
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

// FitKnowing fits a run with what the record knows of earlier ones (those before a run, or all if before is 0): a run
// of few stations borrows the repeatability that this machine showed, and an indicator that was changed is pointed out.
func FitKnowing(ctx context.Context, s *store.Store, before int64, pts []sweep.Point, setup sweep.Setup, fit FitFunc, log *slog.Logger) (sweep.Result, error) {
	few := len(pts) <= fewReadings
	var runs []store.Run
	if few || serialKnown(setup) {
		want := pooledRuns
		if !few {
			want = lookBack
		}
		var err error
		if runs, err = s.Runs(ctx, before, want); err != nil {
			log.Warn("cannot look up earlier runs; going on without", "error", err)
		}
	}
	var known mixed.Options
	if few {
		known.RepeatabilityMM, known.RepeatabilityDoF = pool(runs, setup)
	}
	r, err := fit(pts, setup, known)
	if err == nil {
		r.Warnings = append(r.Warnings, changedIndicators(runs, setup)...)
	}
	return r, err
}

// pool returns the pooled standard deviation of a station's reading over runs of the same machine by stations, each
// weighted by its degrees of freedom (pooling as in JCGM 100:2008, 4.2.4; clause from memory).
func pool(runs []store.Run, setup sweep.Setup) (mm, dof float64) {
	sum := 0.0
	for _, r := range runs {
		if r.Outcome != store.Finished || r.Result == nil || r.Setup.Machine != setup.Machine ||
			r.Setup.AngleSource != setup.AngleSource || r.Result.Readings > fewReadings || math.IsNaN(r.Result.ResidualRMSMM) {
			continue
		}
		free := float64(r.Result.Readings - len(r.Setup.Indicators) - 2)
		if free < 1 {
			continue
		}
		sum += free * r.Result.ResidualRMSMM * r.Result.ResidualRMSMM
		dof += free
	}
	if dof == 0 {
		return 0, 0
	}
	return math.Sqrt(sum / dof), dof
}
