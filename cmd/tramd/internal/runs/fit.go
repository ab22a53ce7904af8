package runs

import (
	"context"
	"log/slog"
	"math"

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

// FitKnowing fits a run with what the record knows of earlier ones (those before a run, or all if before is 0): a run
// of few stations borrows the repeatability that this machine showed, and an indicator that was changed is pointed out.
func FitKnowing(ctx context.Context, s *store.Store, before int64, pts []sweep.Point, setup sweep.Setup, fit FitFunc,
	log *slog.Logger) (sweep.Result, error) {
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
			r.Setup.AngleSource != setup.AngleSource || r.Result.Readings > fewReadings ||
			math.IsNaN(r.Result.ResidualRMSMM) {
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
