package daemon

import (
	"context"
	"time"

	"tramd/cmd/tramd/internal/session"
	"tramd/store"
)

// choresAfter is how long after the start the chores wait: a start has enough to do.
const choresAfter = 2 * time.Minute

// foldEvery is how often it is seen whether a sweep has ended, after which the write-ahead log is folded into the
// record.
const foldEvery = 10 * time.Second

// doChores looks once a minute whether there is work that can wait: a backup, old readings to
// let go. Nothing is begun while a sweep is in hand.
func (d *Daemon) doChores(ctx context.Context) {
	c := &chores{
		store: d.store, log: d.o.Log, machine: d.cfg.Machine.Name, backup: d.cfg.Backup, kept: d.cfg.Store.ReadingsKept(),
		trouble: d.session.Trouble, clockSet: d.clock.IsSet, now: time.Now, began: time.Now(),
		idle: func() bool {
			s, err := session.Unwatched{Session: d.session}.Snapshot(ctx)
			return err == nil && s.Sweep.Phase == session.Idle
		},
	}
	wait := time.NewTimer(choresAfter)
	defer wait.Stop()
	fold := time.NewTicker(foldEvery)
	defer fold.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case <-fold.C:
			c.foldAfterRun(ctx)
		case <-wait.C:
			c.look(ctx)
			wait.Reset(time.Minute)
		}
	}
}

var _ choreStore = (*store.Store)(nil)
