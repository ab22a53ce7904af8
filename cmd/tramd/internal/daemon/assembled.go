package daemon

import (
	"context"
	"sync"
	"time"

	"tramd/cmd/tramd/internal/assembly"
	"tramd/cmd/tramd/internal/metrics"
	"tramd/sweep"
)

// assembled keeps what the record says of relations, traverses and bars, so that a scrape reads it only after it changed.
type assembled struct {
	d *Daemon

	mu   sync.Mutex
	good bool
	now  metrics.Assembly
}

// changed says that such a measurement was stored or fitted again.
func (a *assembled) changed() {
	a.mu.Lock()
	a.good = false
	a.mu.Unlock()
}

// read returns what the record says. What cannot be read is logged and left out until it can.
func (a *assembled) read(ctx context.Context) metrics.Assembly {
	a.mu.Lock()
	defer a.mu.Unlock()
	if a.good {
		return a.now
	}
	now, err := a.fresh(ctx)
	if err != nil {
		a.d.o.Log.Warn("cannot read the relations, traverses and bars of the record", "error", err)
		return metrics.Assembly{}
	}
	a.now, a.good = now, true
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
