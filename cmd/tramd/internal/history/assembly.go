package history

import (
	"context"
	"sync"
	"time"

	"tramd/cmd/tramd/internal/api"
	"tramd/cmd/tramd/internal/assembly"
	"tramd/cmd/tramd/internal/metrics"
	"tramd/cmd/tramd/internal/runs"
	"tramd/sweep"
)

// assembled keeps what the record says of relations, traverses and bars, so that a scrape reads it only after it
// changed.
type assembled struct {
	mu   sync.Mutex
	good bool
	as   uint64 // now is what the record said after so many changes
	now  metrics.Assembly

	standings []api.StandingState
	shown     uint64 // of the changes, one more than it: what the session shows
}

// Assembly returns what the record says of the assembly, for a scrape. What cannot be read is logged and left out until
// it can.
func (k *Follower) Assembly(ctx context.Context) metrics.Assembly {
	a := &k.assembled
	a.mu.Lock()
	defer a.mu.Unlock()
	k.refresh(ctx)
	if !a.good {
		return metrics.Assembly{}
	}
	return a.now
}

// showAssembly has the session show how the measurements hold, for the alarms.
func (k *Follower) showAssembly(ctx context.Context, to Display) {
	a := &k.assembled
	a.mu.Lock()
	defer a.mu.Unlock()
	if k.refresh(ctx); a.good && a.shown != a.as+1 {
		a.shown = a.as + 1
		to.SetAssembly(a.standings)
	}
}

func (k *Follower) refresh(ctx context.Context) {
	a := &k.assembled
	as := k.changes.Load()
	if a.good && a.as == as {
		return
	}
	now, err := k.readAssembly(ctx)
	if a.good = err == nil; !a.good {
		if ctx.Err() == nil {
			k.Log.Warn("cannot read the relations, traverses and bars of the record", "error", err)
		}
		return
	}
	a.now, a.as = now, as
}

func (k *Follower) readAssembly(ctx context.Context) (out metrics.Assembly, err error) {
	machine := k.Config.Machine.Name
	relations, err := assembly.Relations(ctx, k.Store, machine, time.Time{})
	if err != nil {
		return out, err
	}
	for _, x := range relations {
		out.Relations = append(out.Relations, metrics.Relation{Name: x.Relation, Axis: x.Axis, Value: x.Value,
			Limit: float64(x.Run.Setup.Tolerance.Limit)})
	}
	standings, err := assembly.Standings(ctx, k.Store, k.Config)
	if err != nil {
		return out, err
	}
	k.assembled.standings = nil
	for _, x := range standings {
		state := api.StandingState{Name: x.Name, Kind: x.Kind, Alarms: []api.Alarm{}}
		s := metrics.Standing{Name: x.Name, Measurement: x.Kind}
		for _, al := range x.Alarms {
			s.Alarms = append(s.Alarms, string(al.Kind))
			state.Alarms = append(state.Alarms, runs.AlarmState(al))
		}
		if x.Next != nil {
			s.Next = x.Next.Time
			state.NextCheck, state.NextWhy = &x.Next.Time, x.Next.Basis(runs.Reliability)
		}
		k.assembled.standings = append(k.assembled.standings, state)
		out.Standings = append(out.Standings, s)
	}
	for _, kind := range []string{sweep.KindTraverse, sweep.KindBar} {
		runs, err := assembly.Named(ctx, k.Store, machine, kind)
		if err != nil {
			return out, err
		}
		for _, run := range runs {
			r, err := assembly.Decode(kind, run.Raw)
			if err != nil {
				return out, err
			}
			if kind == sweep.KindTraverse {
				out.Traverses = append(out.Traverses, metrics.Traverse{Name: run.Subject, Slope: r.Traverse.Slope,
					Limit: float64(run.Setup.Tolerance.Limit)})
				continue
			}
			options, err := assembly.ParseOptions(run.Own)
			if err != nil {
				return out, err
			}
			b := metrics.Bar{Name: run.Subject, Limit: options.RunOutMM / 1000}
			for _, h := range r.Bar.Heights {
				if m := h.RunOut / 1000; m >= b.RunOut {
					b.RunOut, b.Expanded = m, 2*h.U/1000 // run-out is twice the eccentricity, and so is its interval
				}
			}
			out.Bars = append(out.Bars, b)
		}
	}
	return out, nil
}
