package history

import (
	"context"
	"errors"
	"log/slog"
	"sync"
	"sync/atomic"
	"time"

	"tramd/cmd/tramd/internal/api"
	"tramd/cmd/tramd/internal/config"
	"tramd/cmd/tramd/internal/memtrim"
	"tramd/cmd/tramd/internal/runs"
	"tramd/store"
	"tramd/sweep/drift"
)

// What the page gets to draw, and how many checks are kept to draw it from.
const (
	drawnChecks = 800
	keptChecks  = 4000
)

// Display shows what was worked out: the session.
type Display interface {
	SetDrift(state *api.DriftState, next *time.Time, why string)
	SetAssembly(all []api.StandingState)
}

// Options are what a Follower works on.
type Options struct {
	Store    *store.Store
	Config   *config.Config
	ClockSet func() bool
	Log      *slog.Logger
}

// Follower follows the record. Its Changed, Drift and Assembly may be called from many goroutines.
type Follower struct {
	Options
	wake    chan struct{}
	changes atomic.Uint64 // of the record; a writer never waits for a reader

	tracker *drift.Tracker
	history *drift.History
	rows    []drift.Row
	mark    store.Mark
	undated bool // since when the first check is due waits for the clock

	mu     sync.Mutex
	reread bool        // what was read before may have changed
	drawn  *drift.View // nil: not worked out yet

	assembled assembled
}

// New returns a follower that has read nothing yet.
func New(o Options) *Follower {
	return &Follower{Options: o, wake: make(chan struct{}, 1), reread: true}
}

// Changed is called when something was stored that counts in the history. all says that it changes older checks, so
// that all are read again.
func (k *Follower) Changed(all bool) {
	k.changes.Add(1)
	if all {
		k.mu.Lock()
		k.reread = true
		k.mu.Unlock()
	}
	select {
	case k.wake <- struct{}{}:
	default:
	}
}

// Run works until ctx ends, and has the results shown. What fails is tried again after a while.
func (k *Follower) Run(ctx context.Context, to Display) {
	const again = time.Minute
	k.Changed(true)
	var retry <-chan time.Time
	for {
		select {
		case <-ctx.Done():
			return
		case <-k.wake:
		case <-retry:
		}
		retry = nil
		k.showAssembly(ctx, to)
		if err := k.work(ctx, to); err != nil && ctx.Err() == nil {
			k.Log.Warn("cannot work out the drift; trying again", "in", again, "error", err)
			k.Changed(true)
			<-k.wake
			retry = time.After(again)
		} else if k.undated {
			retry = time.After(again)
			k.Changed(true)
			<-k.wake
		}
	}
}

func (k *Follower) work(ctx context.Context, to Display) error {
	k.mu.Lock()
	reread := k.reread
	k.reread = false
	k.mu.Unlock()
	if !reread {
		done, err := k.goOn(ctx, to)
		if err != nil || done {
			return err
		}
	}
	defer memtrim.Try(k.Log) // the whole record passes through, and is not kept
	h, mark, err := k.Store.History(ctx, k.Config.Machine.Name, store.Mark{})
	if err != nil {
		return err
	}
	t := drift.New()
	t.Plan = k.Config.Check.Intervals()
	rows, err := t.Follow(h.Entries)
	if err != nil {
		return err
	}
	k.tracker, k.history, k.rows, k.mark = t, h, rows, mark
	k.show(to)
	return nil
}

// goOn takes in what came after the last time. It cannot where that lies before what was taken in already, or where
// there is something to warn of.
func (k *Follower) goOn(ctx context.Context, to Display) (done bool, err error) {
	more, mark, err := k.Store.History(ctx, k.Config.Machine.Name, k.mark)
	if err != nil {
		return false, err
	}
	if len(more.Entries) == 0 && mark == k.mark {
		return true, nil
	}
	if len(more.Warnings) > 0 || k.apart(more) {
		return false, nil
	}
	for _, e := range more.Entries {
		if e.Event != nil {
			err = k.tracker.Event(*e.Event)
		} else {
			var row drift.Row
			if row, err = k.tracker.Check(*e.Check); err == nil {
				k.rows = append(k.rows, row)
			}
		}
		if errors.Is(err, drift.ErrOrder) {
			return false, nil
		}
		if err != nil {
			return false, err
		}
	}
	k.history = &drift.History{Entries: append(k.history.Entries, more.Entries...), Warnings: k.history.Warnings,
		Left: k.history.Left}
	k.mark = mark
	k.show(to)
	return true, nil
}

// apart reports whether what is new cannot simply be joined to what was there: another surface or tolerance may lie
// between.
func (k *Follower) apart(more *drift.History) bool {
	if k.history == nil || k.history.Undated > 0 {
		return true
	}
	for _, e := range more.Entries {
		if e.Check != nil && (len(k.rows) == 0 || e.Check.Limit != k.tracker.Limit() ||
			e.Surface != k.history.Surface()) {
			return true
		}
	}
	return false
}

// show hands out what was worked out, and lets go of the checks that no drawing needs.
func (k *Follower) show(to Display) {
	if len(k.rows) > 2*keptChecks {
		k.rows = k.history.Thin(k.rows, keptChecks)
	}
	a := k.tracker.Answer(runs.Reliability)
	a.Rows, a.Warnings = k.rows, k.history.Warnings
	a.Forecast = k.history.Temper(a.Forecast)
	drawn := a.View(k.history, drawnChecks, runs.Reliability)
	k.mu.Lock()
	k.drawn = drawn
	k.mu.Unlock()
	next, why := k.due(a.Forecast.Next)
	if len(k.rows) == 0 {
		to.SetDrift(nil, next, why)
		return
	}
	state := runs.DriftState(k.tracker)
	state.Events = lastEvents(k.history)
	to.SetDrift(state, next, why)
}

// lastEvents returns when each kind of event that made the machine another one happened last.
func lastEvents(h *drift.History) map[string]time.Time {
	out := map[string]time.Time{}
	for _, e := range h.Entries {
		if x := e.Event; x != nil && x.EndsSegment() && x.Time.After(out[x.Kind]) {
			out[x.Kind] = x.Time
		}
	}
	return out
}

// uncheckedChore is the time since when the record has waited for its first check.
const uncheckedChore = "unchecked"

// due is when the next check is due, and why. A machine without a check has been due since the daemon first saw it; nil
// while that cannot be dated.
func (k *Follower) due(n *drift.NextCheck) (*time.Time, string) {
	if n != nil {
		return &n.Time, n.Basis(runs.Reliability)
	}
	const why = "no check yet: due now"
	k.undated = false
	ctx := context.Background()
	since, err := k.Store.Chore(ctx, uncheckedChore)
	if err != nil {
		k.Log.Warn("cannot read since when the first check is due", "error", err)
		return nil, why
	}
	if since.IsZero() {
		if k.undated = !k.ClockSet(); k.undated {
			return nil, why
		}
		since = time.Now()
		if err := k.Store.SetChore(ctx, uncheckedChore, since); err != nil {
			k.Log.Warn("cannot keep since when the first check is due", "error", err)
		}
	}
	return &since, why
}

// Drift returns the history as a page draws it.
func (k *Follower) Drift(context.Context) (*drift.View, error) {
	k.mu.Lock()
	defer k.mu.Unlock()
	if k.drawn == nil {
		return nil, api.Unavailable.New("the record is still being worked through; ask again in a moment")
	}
	return k.drawn, nil
}
