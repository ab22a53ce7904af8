package maintenance

import (
	"context"
	"errors"
	"time"

	"tramd/store"
)

// checkTime bounds the look through the record.
const checkTime = 10 * time.Minute

// check looks through the whole record, beside the work: on a slow card it takes minutes, and the daemon must be
// there at once. At once where the record was not closed the last time, and after a while in any case, since a card can
// spoil what was written well. What it finds is cured at the next start, or by fitting readings again.
func (r *Record) check(ctx context.Context, _ Parts) {
	if r.Store.Waiting() != nil {
		return
	}
	if !r.Store.CutShort() {
		select {
		case <-ctx.Done():
			return
		case <-time.After(startTakes):
		}
	}
	ctx, cancel := context.WithTimeout(ctx, checkTime)
	defer cancel()
	began := time.Now()
	switch err := r.Store.Check(ctx); {
	case err == nil && r.Store.CutShort():
		r.Log.Info("the record was cut short; it was looked through and is whole", "took",
			time.Since(began).Round(time.Millisecond))
	case err == nil || errors.Is(err, store.ErrDamaged): // then it is met as damage
	case ctx.Err() == nil:
		r.Log.Warn("cannot look through the record", "error", err)
	default:
		r.Log.Warn("the look through the record was not finished", "took", time.Since(began).Round(time.Second))
	}
}
