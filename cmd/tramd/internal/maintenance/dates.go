package maintenance

import (
	"context"
	"log/slog"
	"time"

	"tramd/cmd/tramd/internal/api"
	"tramd/cmd/tramd/internal/clock"
	"tramd/store"
)

// datings is how many looks in a row date what was stored before the clock was set: a run that was just being begun
// when the clock was set is found by the second.
const datings = 3

// dates keeps the record's dates right while the clock is set.
type dates struct {
	store *store.Store
	clock *clock.Watcher
	log   *slog.Logger
	to    Parts // empty at start: then nothing has been read yet
	boot  string
	again int       // datings still to be made
	at    time.Time // of boot
}

// changed is called at each change of the clock.
func (k *dates) changed(c clock.Change) {
	switch {
	case c.Newly && c.Step != 0:
		k.log.Info("the clock was set", "step", c.Step.Round(time.Millisecond))
	case c.Newly:
		k.log.Info("the clock is set")
	case c.Step != 0:
		k.log.Warn("the clock was stepped", "step", c.Step.Round(time.Millisecond), "set", c.Set)
	case !c.Set:
		k.log.Warn("the clock no longer counts as set; is the network there?")
	}
	if c.Set && (c.Newly || c.Step != 0) {
		k.again, k.at = datings, c.Booted
	}
}

// due dates what is still to be dated. What fails (a full disk) is tried again at the next look.
func (k *dates) due(ctx context.Context) {
	if k.again == 0 {
		return
	}
	done, err := k.store.DateBoot(ctx, k.boot, k.at)
	if err != nil {
		k.log.Warn("cannot date the runs of this boot yet", "error", err)
		return
	}
	k.again--
	if len(done.Runs) > 0 || done.Events > 0 {
		k.log.Info("dated what was stored before the clock was set", "runs", done.Runs, "events", done.Events)
		k.last(ctx, done)
		if k.to.History != nil {
			k.to.History.Changed(true)
		}
	}
}

// last has the session show the last run's new date.
func (k *dates) last(ctx context.Context, done store.Dated) {
	if k.to.Session == nil { // at start: it will be read with its date
		return
	}
	for _, id := range done.Runs {
		run, err := k.store.Run(ctx, id)
		if err != nil || run.Result == nil {
			continue
		}
		k.to.Session.Redate(api.LastRun{Run: run.ID, At: run.EndedAt, Started: run.StartedAt, Result: *run.Result})
	}
}

// run looks at the clock once a second until ctx ends.
func (k *dates) run(ctx context.Context, to Parts) {
	k.to = to
	tick := time.NewTicker(time.Second)
	defer tick.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
			k.look(ctx)
		}
	}
}

func (k *dates) look(ctx context.Context) {
	if c, changed := k.clock.Look(); changed {
		k.changed(c)
	}
	k.due(ctx)
}
