package daemon

import (
	"context"
	"sync"
	"sync/atomic"
	"time"

	"tramd/cmd/tramd/internal/assembly"
	"tramd/cmd/tramd/internal/metrics"
	"tramd/sweep"
)

// assembled keeps what the record says of relations, traverses and bars, so that a scrape reads it only after it
// changed.
type assembled struct {
	d *Daemon

	changes atomic.Uint64 // of the record; a writer never waits for a reader

	mu   sync.Mutex
	good bool
	as   uint64 // now is what the record said after so many changes
	now  metrics.Assembly
}

// changed says that a measurement or an event was stored, or a measurement fitted again.
func (a *assembled) changed() { a.changes.Add(1) }

// read returns what the record says. What cannot be read is logged and left out until it can.
func (a *assembled) read(ctx context.Context) metrics.Assembly {
	a.mu.Lock()
	defer a.mu.Unlock()
	as := a.changes.Load()
	if a.good && a.as == as {
		return a.now
	}
	now, err := a.fresh(ctx)
	if err != nil {
		a.d.o.Log.Warn("cannot read the relations, traverses and bars of the record", "error", err)
		return metrics.Assembly{}
	}
	a.now, a.good, a.as = now, true, as
	return now
}

func (a *assembled) fresh(ctx context.Context) (out metrics.Assembly, err error) {
	machine := a.d.cfg.Machine.Name
	relations, err := assembly.Relations(ctx, a.d.store, machine, time.Time{})
	if err != nil {
		return out, err
	}
	for _, x := range relations {
		out.Relations = append(out.Relations, metrics.Relation{Name: x.Relation, Axis: x.Axis, Value: x.Value, Limit: float64(x.Run.Setup.Tolerance.Limit)})
	}
	standings, err := assembly.Standings(ctx, a.d.store, a.d.cfg)
	if err != nil {
		return out, err
	}
	for _, x := range standings {
		s := metrics.Standing{Name: x.Name, Measurement: x.Kind}
		for _, al := range x.Alarms {
			s.Alarms = append(s.Alarms, string(al.Kind))
		}
		if x.Next != nil {
			s.Next = x.Next.Time
		}
		out.Standings = append(out.Standings, s)
	}
	for _, kind := range []string{sweep.KindTraverse, sweep.KindBar} {
		runs, err := assembly.Named(ctx, a.d.store, machine, kind)
		if err != nil {
			return out, err
		}
		for _, run := range runs {
			r, err := assembly.Decode(kind, run.Raw)
			if err != nil {
				return out, err
			}
			if kind == sweep.KindTraverse {
				out.Traverses = append(out.Traverses, metrics.Traverse{Name: run.Subject, Slope: r.Traverse.Slope, Limit: float64(run.Setup.Tolerance.Limit)})
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
