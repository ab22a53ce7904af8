package daemon

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"time"

	"tramd/cmd/tramd/internal/runs"
	"tramd/cmd/tramd/internal/session"
	"tramd/store"
	"tramd/sweep"
)

// healer collects the damage that is met in the record, from whichever goroutine meets it.
type healer struct {
	mu   sync.Mutex
	wait []store.Damaged
	wake chan struct{}
}

func newHealer() *healer { return &healer{wake: make(chan struct{}, 1)} }

func (h *healer) met(d store.Damaged) {
	h.mu.Lock()
	h.wait = append(h.wait, d)
	h.mu.Unlock()
	select {
	case h.wake <- struct{}{}:
	default:
	}
}

func (h *healer) take() []store.Damaged {
	h.mu.Lock()
	defer h.mu.Unlock()
	out := h.wait
	h.wait = nil
	return out
}

// WarnRefitted says that a result was made from the stored readings because the stored result was spoiled.
const WarnRefitted = "result_was_damaged"

// heal fits runs again whose stored result is spoiled or was lost with a damaged file, and has the faces show damage
// that only the next start cures. It works until ctx ends.
func (d *Daemon) heal(ctx context.Context) {
	if d.saved != "" {
		d.fitLost(ctx)
	}
	for {
		for _, x := range d.healer.take() {
			if ctx.Err() != nil {
				return
			}
			if x.Result != 0 {
				d.fitSpoiled(ctx, x.Result, "the stored result was damaged")
				continue
			}
			d.o.Log.Error("the record is damaged; restart the daemon, which sets it aside and saves what can be read", "error", x.Why)
			d.session.RecordDamaged("the record is damaged; restart the daemon, which sets it aside and saves what can be read: " + x.Why.Error())
		}
		select {
		case <-ctx.Done():
			return
		case <-d.healer.wake:
		}
	}
}

// fitLost fits the runs that have readings and no result, after a damaged file was saved.
func (d *Daemon) fitLost(ctx context.Context) {
	lost, err := d.store.Unconcluded(ctx)
	if err != nil {
		d.o.Log.Warn("cannot look for runs whose results were lost", "error", err)
	}
	for _, id := range lost {
		if ctx.Err() != nil {
			return
		}
		d.fitSpoiled(ctx, id, "the stored result was lost with a damaged file")
	}
}

func (d *Daemon) fitSpoiled(ctx context.Context, id int64, what string) {
	defer d.trim()
	if other, err := runs.IsOther(ctx, d.store, id); err == nil && other {
		d.fitSpoiledOther(ctx, id, what)
		return
	}
	out, err := runs.Refit(ctx, d.store, id, false, d.o.Fit, d.o.Log)
	if err == nil {
		out.Now.Warnings = append(out.Now.Warnings, refittedWarning(what))
		err = d.store.AddResult(ctx, id, out.Now)
	}
	if err != nil {
		d.cannotHeal(ctx, id, what, err)
		return
	}
	d.o.Log.Warn(what+"; its readings were fitted again", "run", id)
	d.drift.changed(true)
	run, err := d.store.Run(ctx, id)
	if err == nil && run.Kind == session.Sweeping && run.Outcome == store.Finished {
		d.session.Healed(ctx, session.LastRun{Run: id, At: run.EndedAt, Started: run.StartedAt, Result: out.Now})
	}
}

func refittedWarning(what string) sweep.Warning {
	return sweep.Warning{Code: WarnRefitted,
		Text: fmt.Sprintf("%s; this one was made from the readings on %s", what, time.Now().Format("2006-01-02 15:04"))}
}

// fitSpoiledOther is fitSpoiled for a measurement that is no sweep.
func (d *Daemon) fitSpoiledOther(ctx context.Context, id int64, what string) {
	out, err := runs.RefitOther(ctx, d.store, id, false)
	if err == nil {
		out.Now.Warn(refittedWarning(what))
		err = runs.AddOther(ctx, d.store, id, out.Now)
	}
	if err != nil {
		d.cannotHeal(ctx, id, what, err)
		return
	}
	d.assembled.changed()
	d.o.Log.Warn(what+"; its readings were fitted again", "run", id)
}

func (d *Daemon) cannotHeal(ctx context.Context, id int64, what string, err error) {
	if ctx.Err() != nil || errors.Is(err, store.ErrFull) {
		return
	}
	d.o.Log.Error(what+", and the readings cannot be fitted", "run", id, "error", err)
	d.session.Trouble("record", fmt.Sprintf("run %d: %s, and its readings cannot be fitted: %v", id, what, err))
}
