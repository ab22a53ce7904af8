package maintenance

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"time"

	"tramd/cmd/tramd/internal/api"
	"tramd/cmd/tramd/internal/memtrim"
	"tramd/cmd/tramd/internal/runs"
	"tramd/store"
	"tramd/sweep"
)

// damage collects what is met in the record, from any goroutine.
type damage struct {
	mu   sync.Mutex
	wait []store.Damaged
	wake chan struct{}
}

func newDamage() *damage { return &damage{wake: make(chan struct{}, 1)} }

func (h *damage) met(d store.Damaged) {
	h.mu.Lock()
	h.wait = append(h.wait, d)
	h.mu.Unlock()
	select {
	case h.wake <- struct{}{}:
	default:
	}
}

func (h *damage) take() []store.Damaged {
	h.mu.Lock()
	defer h.mu.Unlock()
	out := h.wait
	h.wait = nil
	return out
}

// warnRefitted says that a result was made from the stored readings because the stored result was spoiled.
const warnRefitted = "result_was_damaged"

// heal fits runs again whose stored result is spoiled or was lost with a damaged file, and has the session show damage
// that only the next start cures. It works until ctx ends.
func (r *Record) heal(ctx context.Context, to Parts) {
	if r.saved != "" {
		r.fitLost(ctx, to)
	}
	for {
		for _, x := range r.damage.take() {
			if ctx.Err() != nil {
				return
			}
			if x.Result != 0 {
				r.fitSpoiled(ctx, to, x.Result, "the stored result was damaged")
				continue
			}
			r.Log.Error("the record is damaged; restart the daemon, which sets it aside and saves what can be read",
				"error", x.Why)
			to.Session.RecordDamaged(
				"the record is damaged; restart the daemon, which sets it aside and saves what can be read: " +
					x.Why.Error())
		}
		select {
		case <-ctx.Done():
			return
		case <-r.damage.wake:
		}
	}
}

// fitLost fits the runs that have readings and no result, after a damaged file was saved.
func (r *Record) fitLost(ctx context.Context, to Parts) {
	lost, err := r.Store.Unconcluded(ctx)
	if err != nil {
		r.Log.Warn("cannot look for runs whose results were lost", "error", err)
	}
	for _, id := range lost {
		if ctx.Err() != nil {
			return
		}
		r.fitSpoiled(ctx, to, id, "the stored result was lost with a damaged file")
	}
}

func (r *Record) fitSpoiled(ctx context.Context, to Parts, id int64, what string) {
	defer memtrim.Try(r.Log)
	if other, err := runs.IsOther(ctx, r.Store, id); err == nil && other {
		r.fitSpoiledOther(ctx, to, id, what)
		return
	}
	out, err := runs.Refit(ctx, r.Store, id, false, r.Fit, r.Log)
	if err == nil {
		out.Now.Warnings = append(out.Now.Warnings, refittedWarning(what))
		err = r.Store.AddResult(ctx, id, out.Now)
	}
	if err != nil {
		r.cannotHeal(ctx, to, id, what, err)
		return
	}
	r.Log.Warn(what+"; its readings were fitted again", "run", id)
	to.History.Changed(true)
	run, err := r.Store.Run(ctx, id)
	if err == nil && run.Kind == api.Sweeping && run.Outcome == store.Finished {
		to.Session.Healed(ctx, api.LastRun{Run: id, At: run.EndedAt, Started: run.StartedAt, Result: out.Now})
	}
}

func refittedWarning(what string) sweep.Warning {
	return sweep.Warning{Code: warnRefitted,
		Text: fmt.Sprintf("%s; this one was made from the readings on %s", what, time.Now().Format("2006-01-02 15:04"))}
}

// fitSpoiledOther is fitSpoiled for a measurement that is no sweep.
func (r *Record) fitSpoiledOther(ctx context.Context, to Parts, id int64, what string) {
	out, err := runs.RefitOther(ctx, r.Store, id, false)
	if err == nil {
		out.Now.Warn(refittedWarning(what))
		err = runs.AddOther(ctx, r.Store, id, out.Now)
	}
	if err != nil {
		r.cannotHeal(ctx, to, id, what, err)
		return
	}
	to.History.Changed(false)
	r.Log.Warn(what+"; its readings were fitted again", "run", id)
}

func (r *Record) cannotHeal(ctx context.Context, to Parts, id int64, what string, err error) {
	if ctx.Err() != nil || errors.Is(err, store.ErrFull) {
		return
	}
	r.Log.Error(what+", and the readings cannot be fitted", "run", id, "error", err)
	to.Session.Trouble("record", fmt.Sprintf("run %d: %s, and its readings cannot be fitted: %v", id, what, err))
}
