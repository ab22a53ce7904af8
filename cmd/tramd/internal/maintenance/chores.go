package maintenance

import (
	"context"
	"log/slog"
	"time"

	"tramd/cmd/tramd/internal/config"
	"tramd/cmd/tramd/internal/session"
	"tramd/store"
)

// choreStore is what the chores need of a store.
type choreStore interface {
	Chore(ctx context.Context, name string) (time.Time, error)
	SetChore(ctx context.Context, name string, at time.Time) error
	Backup(ctx context.Context, folder string, o store.BackupOptions) (file string, gone []string, err error)
	DropReadings(ctx context.Context, before time.Time) ([]int64, error)
	Fold(ctx context.Context) (done bool, err error)
}

// chores are what the daemon does for its record now and then.
type chores struct {
	store    choreStore
	log      *slog.Logger
	machine  string
	backup   config.Backup
	kept     time.Duration // readings are; 0: for ever
	trouble  func(kind, why string)
	clockSet func() bool
	now      func() time.Time
	idle     func() bool
	began    time.Time // when the daemon started

	tried   time.Time // the last backup
	dropped time.Time // when there was last nothing to let go
	failing bool

	busy     bool      // a sweep was in hand, and the log is not folded in yet
	folded   time.Time // when the log was last
	unfolded bool      // the write-ahead log could not be folded in the last time
}

// foldEvery is how often it is seen whether a sweep has ended, after which the write-ahead log is folded into the
// record.
const foldEvery = 10 * time.Second

// doChores looks once a minute whether there is work that can wait: a backup, old readings to
// let go. Nothing is begun while a sweep is in hand.
func (r *Record) doChores(ctx context.Context, to Parts) {
	c := &chores{
		store: r.Store, log: r.Log, machine: r.Config.Machine.Name, backup: r.Config.Backup,
		kept:    r.Config.Store.ReadingsKept(),
		trouble: to.Session.Trouble, clockSet: r.Clock.IsSet, now: time.Now, began: time.Now(),
		idle: func() bool {
			idle, err := session.Unwatched{Session: to.Session}.Idle(ctx)
			return err == nil && idle
		},
	}
	wait := time.NewTimer(startTakes)
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

// backupAgain is how long after a backup that failed the next is tried.
const backupAgain = 15 * time.Minute

// backupChore is the chore's name in the store.
const backupChore = "backup"

func (c *chores) look(ctx context.Context) {
	if !c.idle() {
		return
	}
	if c.now().Sub(c.folded) >= foldAtLeast {
		c.fold(ctx)
	}
	if c.backupDue(ctx) {
		c.makeBackup(ctx)
	}
	if c.kept > 0 && c.clockSet() && c.now().Sub(c.dropped) > time.Hour {
		c.dropReadings(ctx)
	}
}

// backupDue reports whether the slot that last passed has no backup yet. Unlike a check, a backup is made up for: a
// computer that is switched off each evening is never there at night. With a clock that is not set, one is due a day
// after the last of this start.
func (c *chores) backupDue(ctx context.Context) bool {
	now := c.now()
	if c.backup.To == "" || !c.tried.IsZero() && now.Sub(c.tried) < backupAgain {
		return false
	}
	if !c.clockSet() {
		since := c.began
		if c.tried.After(since) && !c.failing {
			since = c.tried
		}
		return now.Sub(since) > 24*time.Hour
	}
	slot, ok := c.backup.Plan().Last(now)
	if !ok {
		return false
	}
	last, err := c.store.Chore(ctx, backupChore)
	if err != nil {
		c.log.Warn("cannot look up the last backup", "error", err)
		return false
	}
	return last.Before(slot.At) || last.After(now.Add(24*time.Hour)) // the latter was written by a clock that was wrong
}

func (c *chores) makeBackup(ctx context.Context) {
	c.tried = c.now()
	file, gone, err := c.store.Backup(ctx, c.backup.To, store.BackupOptions{Name: c.machine, Keep: c.backup.Keep,
		SameDisk: c.backup.SameDisk})
	if ctx.Err() != nil {
		return
	}
	if err == nil && c.clockSet() {
		err = c.store.SetChore(ctx, backupChore, c.tried)
	}
	if err != nil {
		c.trouble("backup", err.Error())
		if !c.failing {
			c.log.Error("the backup failed; it is tried again every quarter of an hour", "error", err)
		}
		c.failing = true
		return
	}
	c.failing = false
	c.trouble("backup", "")
	c.log.Info("backed up", "file", file, "removed", gone, "took", c.now().Sub(c.tried).Round(time.Millisecond))
}

// foldAtLeast is how long what is stored between sweeps, such as the spindle's hours each minute, may stay in the log:
// a fold writes it once more.
const foldAtLeast = 10 * time.Minute

// foldAfterRun folds the log in where a sweep has ended since the last time.
func (c *chores) foldAfterRun(ctx context.Context) {
	switch {
	case !c.idle():
		c.busy = true
	case c.busy:
		c.busy = false
		c.fold(ctx)
	}
}

// fold moves the write-ahead log into the record's own file, so that a copy of that file alone holds all that was
// stored.
func (c *chores) fold(ctx context.Context) {
	done, err := c.store.Fold(ctx)
	if err == nil && !done {
		c.busy = true // a reader was at work: again soon
	}
	c.folded = c.now()
	if err != nil && !c.unfolded {
		c.log.Warn("the write-ahead log stays beside the record; nothing is lost", "error", err)
	}
	c.unfolded = err != nil
}

// dropReadings lets a batch go at each look, so that it never has the store for long.
func (c *chores) dropReadings(ctx context.Context) {
	runs, err := c.store.DropReadings(ctx, c.now().Add(-c.kept))
	switch {
	case err != nil:
		c.log.Warn("cannot let old readings go", "error", err)
		c.dropped = c.now() // again in an hour
	case len(runs) == 0:
		c.dropped = c.now()
	default:
		c.log.Info("let old readings go; the results stay", "runs", runs)
	}
}
