package assembly

import (
	"context"
	"fmt"
	"math"
	"time"

	"tramd/store"
	"tramd/sweep"
	"tramd/sweep/stack"
)

// mostRuns is how far back the newest of each relation is looked for, in runs of a kind.
const mostRuns = 1000

// Newest is the newest stored measurement of one relation on one axis.
type Newest struct {
	Relation, Axis string // axis: tilt or nod
	Run            store.Run
	Value          *sweep.Axis
}

// Relations returns the newest finished check of each relation and axis of a machine that a travel or a cross measured
// after a time. Tilt and nod of a relation may come from two runs. Runs without a believable date are left out.
func Relations(ctx context.Context, s *store.Store, machine string, after time.Time) ([]Newest, error) {
	best := map[[2]string]Newest{}
	for _, kind := range []string{sweep.KindTravel, sweep.KindCross} {
		runs, err := s.Find(ctx, store.Which{Kind: kind, Limit: mostRuns})
		if err != nil {
			return nil, err
		}
		for _, run := range runs {
			if !counts(run, machine) || !run.StartedAt.After(after) {
				continue
			}
			r, err := Decode(kind, run.Raw)
			if err != nil {
				return nil, fmt.Errorf("run %d: %w", run.ID, err)
			}
			for _, x := range []Newest{{r.Travel.Relation, "tilt", run, r.Travel.Tilt},
				{r.Travel.Relation, "nod", run, r.Travel.Nod}} {
				key := [2]string{x.Relation, x.Axis}
				if had, ok := best[key]; x.Value != nil && (!ok || run.StartedAt.After(had.Run.StartedAt)) {
					best[key] = x
				}
			}
		}
	}
	var out []Newest
	for _, name := range stack.Names() {
		for _, axis := range []string{"tilt", "nod"} {
			if x, ok := best[[2]string{name, axis}]; ok {
				out = append(out, x)
			}
		}
	}
	return out, nil
}

// counts reports whether a run is a dated, finished check of a machine with a result that can be believed.
func counts(run store.Run, machine string) bool {
	return run.Outcome == store.Finished && run.Purpose == "check" && run.ClockSet && run.Setup.Machine == machine &&
		run.Raw != nil
}

// Measured returns a relation as a stack takes it.
func (n Newest) Measured() stack.Measured {
	m := stack.Measured{Relation: n.Relation, Run: n.Run.ID}
	value, u := n.Value.Slope.MMPerM(), n.Value.U.MMPerM()
	var dof *float64
	if d := n.Value.Budget.DoF(); d > 0 && !math.IsInf(d, 0) && !math.IsNaN(d) {
		dof = &d
	}
	if n.Axis == "tilt" {
		m.Tilt, m.TiltU, m.TiltDoF = &value, &u, dof
	} else {
		m.Nod, m.NodU, m.NodDoF = &value, &u, dof
	}
	return m
}

// Named returns the newest dated check of each name among the runs of a kind; those without a name count as one.
func Named(ctx context.Context, s *store.Store, machine, kind string) ([]store.Run, error) {
	runs, err := s.Find(ctx, store.Which{Kind: kind, Limit: mostRuns})
	if err != nil {
		return nil, err
	}
	at := map[string]int{}
	var out []store.Run
	for _, run := range runs {
		if !counts(run, machine) {
			continue
		}
		k, seen := at[run.Subject]
		switch {
		case !seen:
			at[run.Subject] = len(out)
			out = append(out, run)
		case run.StartedAt.After(out[k].StartedAt):
			out[k] = run
		}
	}
	return out, nil
}
