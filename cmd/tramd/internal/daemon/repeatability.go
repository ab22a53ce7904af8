package daemon

import (
	"context"
	"math"
	"time"

	"tramd/store"
	"tramd/sweep"
	"tramd/sweep/mixed"
)

// pooledRuns is how many of the latest runs the pooled repeatability rests on.
const pooledRuns = 50

// fewReadings is the size of a run that says little of its own repeatability.
const fewReadings = 36

// fit fits a run by the model the daemon was given. A run of few stations borrows the repeatability that this machine's
// earlier runs showed.
func (d *Daemon) fit(pts []sweep.Point, setup sweep.Setup) (sweep.Result, error) {
	var known mixed.Options
	if len(pts) <= fewReadings {
		ctx, cancel := context.WithTimeout(context.Background(), 2*time.Second)
		defer cancel()
		runs, err := d.store.Runs(ctx, 0, pooledRuns)
		if err != nil {
			d.o.Log.Warn("cannot look up the repeatability of earlier runs; going on without", "error", err)
		}
		known.RepeatabilityMM, known.RepeatabilityDoF = pool(runs, setup)
	}
	return d.o.Fit(pts, setup, known)
}

// pool gives the pooled standard deviation of a station's reading over runs of the same machine by stations, each
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
