package schedule

import "time"

// Grace is how late a slot may still be begun. After that it is missed.
const Grace = 5 * time.Minute

// ahead is how far the last slot given out may lie in the future before the clock is taken to have been wrong then.
const ahead = 26 * time.Hour

// Tracker gives out the slots of a plan, each once. Its state is one time, which outlives a restart if it is stored.
type Tracker struct {
	Plan Plan
	Last time.Time // up to here all slots have been given out; zero: nothing has been yet
}

// Look gives the slot that is due now, if one is, and those that were missed since the last look. Call it about once a
// second, with a time that can be believed; not while there is none.
func (k *Tracker) Look(now time.Time) (due *Slot, missed []Slot) {
	if k.Last.IsZero() || k.Last.After(now.Add(ahead)) {
		k.Last = now
		return nil, nil
	}
	for {
		s, ok := k.Plan.Next(k.Last.In(now.Location()))
		if !ok || s.At.After(now) {
			break
		}
		k.Last = s.At
		if due != nil {
			missed = append(missed, *due)
		}
		due = &s
	}
	if due != nil && now.Sub(due.At) > Grace {
		missed, due = append(missed, *due), nil
	}
	return due, missed
}

// Next returns the slot that will come next.
func (k *Tracker) Next(now time.Time) (Slot, bool) {
	from := now
	if k.Last.After(from) && !k.Last.After(now.Add(ahead)) {
		from = k.Last.In(now.Location())
	}
	return k.Plan.Next(from)
}
