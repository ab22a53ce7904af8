package daemon

import (
	"context"
	"errors"
	"time"

	"tramd/cmd/tramd/internal/clock"
	"tramd/cmd/tramd/internal/session"
	"tramd/store"
)

// past is what the record knows of earlier runs.
type past struct {
	last   *session.LastRun
	counts map[session.RunKey]uint64
}

// openRecord opens the record and reads what is known of the past. On a disk without room it gives a store that waits
// for some (see awaitRoom). One that is found damaged is set aside and what can be read of it is saved to a new one:
// there may be no person to do it by hand, and a daemon that does not start measures nothing.
func (d *Daemon) openRecord(ctx context.Context) (s *store.Store, p past, err error) {
	d.healer = newHealer()
	o := store.Options{BootID: clock.BootID(), Log: d.o.Log, Damaged: d.healer.met}
	path := d.cfg.Store.Path
	for try := 0; ; try++ {
		s, err = store.OpenOrWait(ctx, path, o)
		if err == nil {
			if why := s.Waiting(); why != nil {
				d.o.Log.Error("the record cannot be opened for writing; what is measured is shown and not stored until there is room", "error", why)
				p, err := pastOf(ctx, s)
				if err != nil && !errors.Is(err, store.ErrFull) {
					d.o.Log.Warn("what was stored before cannot be read until there is room", "error", err)
				}
				return s, p, nil
			}
			if p, err = d.readPast(ctx, s); err == nil {
				return s, p, nil
			}
			err = errors.Join(err, s.Close())
		}
		if !errors.Is(err, store.ErrDamaged) || try > 0 {
			return nil, past{}, err
		}
		d.o.Log.Error("the record is damaged; setting it aside and saving what can be read", "store", path, "error", err)
		saved, e := store.Salvage(ctx, path, o)
		if e != nil {
			return nil, past{}, errors.Join(err, e)
		}
		d.saved = saved.String()
		d.o.Log.Error(d.saved)
	}
}

func (d *Daemon) readPast(ctx context.Context, s *store.Store) (past, error) {
	found, err := s.RecoverUnfinished(ctx, d.backlog.Runs()...)
	if err != nil {
		return past{}, err
	}
	for _, id := range found {
		d.o.Log.Warn("found a run that was cut short; its readings are kept and it is marked interrupted", "run", id)
	}
	return pastOf(ctx, s)
}

func pastOf(ctx context.Context, s *store.Store) (past, error) {
	p := past{counts: map[session.RunKey]uint64{}}
	run, err := s.LastFinished(ctx, "sweep")
	if err != nil && !errors.Is(err, store.ErrNotFound) {
		return past{}, err
	}
	if run != nil && run.Result != nil {
		p.last = &session.LastRun{Run: run.ID, At: run.EndedAt, Started: run.StartedAt, Result: *run.Result}
	}
	stored, err := s.RunCounts(ctx)
	if err != nil {
		return past{}, err
	}
	for k, n := range stored {
		p.counts[session.RunKey{Kind: k.Kind, Outcome: string(k.Outcome)}] = n
	}
	return p, nil
}

// checkTime bounds the look through the record.
const checkTime = 10 * time.Minute

// checkRecord looks through the whole record, beside the work: on a slow card it takes minutes, and the daemon must be
// there at once. At once where the record was not closed the last time, and after a while in any case, since a card can
// spoil what was written well. What it finds is cured at the next start, or by fitting readings again.
func (d *Daemon) checkRecord(ctx context.Context) {
	if why := d.store.Waiting(); why != nil {
		d.session.Trouble("record", why.Error())
		return
	}
	if d.saved != "" {
		d.session.Trouble("record", d.saved)
	}
	if !d.store.CutShort() {
		select {
		case <-ctx.Done():
			return
		case <-time.After(choresAfter):
		}
	}
	ctx, cancel := context.WithTimeout(ctx, checkTime)
	defer cancel()
	began := time.Now()
	switch err := d.store.Check(ctx); {
	case err == nil && d.store.CutShort():
		d.o.Log.Info("the record was cut short; it was looked through and is whole", "took", time.Since(began).Round(time.Millisecond))
	case err == nil || errors.Is(err, store.ErrDamaged): // then the healer has it
	case ctx.Err() == nil:
		d.o.Log.Warn("cannot look through the record", "error", err)
	default:
		d.o.Log.Warn("the look through the record was not finished", "took", time.Since(began).Round(time.Second))
	}
}
