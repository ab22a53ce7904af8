package maintenance

import (
	"context"
	"errors"
	"log/slog"

	"tramd/cmd/tramd/internal/api"
	"tramd/cmd/tramd/internal/clock"
	"tramd/cmd/tramd/internal/config"
	"tramd/cmd/tramd/internal/runs"
	"tramd/store"
)

// Options are what a record is opened and looked after with.
type Options struct {
	Config   *config.Config
	Clock    *clock.Watcher
	Fit      runs.FitFunc
	Unstored []int64 // runs whose ends still wait in memory: they were not cut short
	Log      *slog.Logger
}

// Record is the open record and its upkeep.
type Record struct {
	Options
	Store *store.Store
	Past  Past

	saved  string // what became of a damaged record; empty: it was whole
	damage *damage
	dates  *dates
}

// Past is what the record knows of earlier runs.
type Past struct {
	Last   *api.LastRun
	Counts map[api.RunKey]uint64
}

// Open opens the record and reads what is known of the past. On a disk without room it gives a record that waits for
// some (see Room). One that is found damaged is set aside and what can be read of it is saved to a new one: there may
// be no person to do it by hand, and a daemon that does not start measures nothing.
func Open(ctx context.Context, o Options) (*Record, error) {
	r := &Record{Options: o, damage: newDamage()}
	path, opts := o.Config.Store.Path, store.Options{BootID: clock.BootID(), Log: o.Log, Damaged: r.damage.met}
	for try := 0; ; try++ {
		err := r.open(ctx, path, opts)
		if err == nil {
			return r, nil
		}
		if !errors.Is(err, store.ErrDamaged) || try > 0 {
			return nil, err
		}
		o.Log.Error("the record is damaged; setting it aside and saving what can be read", "store", path, "error", err)
		saved, e := store.Salvage(ctx, path, opts)
		if e != nil {
			return nil, errors.Join(err, e)
		}
		r.saved = saved.String()
		o.Log.Error(r.saved)
	}
}

func (r *Record) open(ctx context.Context, path string, o store.Options) (err error) {
	if r.Store, err = store.OpenOrWait(ctx, path, o); err != nil {
		return err
	}
	r.dates = &dates{store: r.Store, clock: r.Clock, log: r.Log, boot: o.BootID}
	if why := r.Store.Waiting(); why != nil {
		o.Log.Error(
			"the record cannot be opened for writing; what is measured is shown and not stored until there is room",
			"error", why)
		if err := r.readPast(ctx); err != nil && !errors.Is(err, store.ErrFull) {
			o.Log.Warn("what was stored before cannot be read until there is room", "error", err)
		}
		return nil
	}
	if err = r.recover(ctx); err != nil {
		return errors.Join(err, r.Store.Close())
	}
	return nil
}

// recover marks runs that were cut short, and reads the past.
func (r *Record) recover(ctx context.Context) error {
	found, err := r.Store.RecoverUnfinished(ctx, r.Unstored...)
	if err != nil {
		return err
	}
	for _, id := range found {
		r.Log.Warn("found a run that was cut short; its readings are kept and it is marked interrupted", "run", id)
	}
	return r.readPast(ctx)
}

func (r *Record) readPast(ctx context.Context) error {
	r.dates.look(ctx) // first, so that the last run is read with its date
	r.Past = Past{Counts: map[api.RunKey]uint64{}}
	run, err := r.Store.LastFinished(ctx, "sweep")
	if err != nil && !errors.Is(err, store.ErrNotFound) {
		return err
	}
	if run != nil && run.Result != nil {
		r.Past.Last = &api.LastRun{Run: run.ID, At: run.EndedAt, Started: run.StartedAt, Result: *run.Result}
	}
	stored, err := r.Store.RunCounts(ctx)
	if err != nil {
		return err
	}
	for k, n := range stored {
		r.Past.Counts[api.RunKey{Kind: k.Kind, Outcome: string(k.Outcome)}] = n
	}
	return nil
}
