package unattended

import (
	"fmt"
	"time"

	"tramd/cmd/tramd/internal/schedule"
)

// Act is one thing to be done.
type Act struct {
	Do   Do
	Slot string // the slot it is about
	Text string // for the log, and for people
}

// Do says which.
type Do string

// Acts.
const (
	Note   Do = "note"   // log it
	Begin  Do = "begin"  // take the check; Facts.Taking follows it from now on
	Skip   Do = "skip"   // the slot brings no check: none is due
	Missed Do = "missed" // report it: tramd was not ready
	GaveUp Do = "gaveup" // report it: it was not begun, or it failed for good
	Done   Do = "done"   // it ended with a result (of a dry run: all conditions held)
)

type state string

const (
	waiting   state = "waiting"   // for a slot
	preparing state = "preparing" // for the conditions, and the warm-up
	taking    state = "taking"
	pausing   state = "pausing" // before the second try
)

// Checker is the state of the unattended checks. Not for concurrent use.
type Checker struct {
	plan Plan
	keep schedule.Tracker

	state  state
	slot   schedule.Slot
	held   time.Time // since when all conditions have held; zero: they do not
	hinder string    // what was last said to be in the way, without figures
	tries  int
	again  time.Time // when the second try begins
}

// New makes a checker. last is up to when slots have been given out, as Last gave it before a restart.
func New(plan Plan, slots schedule.Plan, last time.Time) *Checker {
	return &Checker{plan: plan, keep: schedule.Tracker{Plan: slots, Last: last}, state: waiting}
}

// Last is what must outlive a restart, so that no slot comes twice.
func (c *Checker) Last() time.Time { return c.keep.Last }

// Preparing reports whether the conditions are being watched.
func (c *Checker) Preparing() bool { return c.state == preparing }

// Next is when the next slot is.
func (c *Checker) Next(now time.Time) (time.Time, bool) {
	s, ok := c.keep.Next(now)
	return s.At, ok
}

// missedEach is up to how many missed checks are reported one by one.
const missedEach = 3

// Step is called about once a second.
func (c *Checker) Step(f Facts) []Act {
	var acts []Act
	do := func(d Do, slot, text string, args ...any) {
		acts = append(acts, Act{d, slot, fmt.Sprintf(text, args...)})
	}
	if f.ClockSet { // a time that cannot be believed gives out no slots
		due, missed := c.keep.Look(f.Now)
		if n := len(missed); n > missedEach {
			do(Missed, missed[n-1].Name, "%d checks were missed, from %s to %s: tramd was not ready at the time", n,
				missed[0].Name, missed[n-1].Name)
			missed = nil
		}
		for _, m := range missed {
			do(Missed, m.Name, "the check of %s was missed: tramd was not ready at the time", m.Name)
		}
		switch {
		case due == nil:
		case c.state != waiting:
			do(Missed, due.Name, "the check of %s was missed: the one of %s was still going on", due.Name, c.slot.Name)
		default:
			if ok, why := c.plan.wanted(f); !ok {
				do(Skip, due.Name, "no check at %s: %s", due.Name, why)
				break
			}
			c.state, c.slot, c.tries, c.held, c.hinder = preparing, *due, 0, time.Time{}, ""
			do(Note, due.Name, "the check of %s is due", due.Name)
		}
	}
	switch c.state {
	case preparing:
		c.prepare(f, do)
	case taking:
		c.watch(f, do)
	case pausing:
		if !f.Now.Before(c.again) || c.again.Sub(f.Now) > 2*c.plan.RetryAfter { // the latter: the clock was put back
			c.state, c.held, c.hinder = preparing, time.Time{}, ""
			do(Note, c.slot.Name, "trying the check of %s once more", c.slot.Name)
		}
	}
	return acts
}

type doer func(d Do, slot, text string, args ...any)

func (c *Checker) prepare(f Facts, do doer) {
	name := c.slot.Name
	over := f.Now.Sub(c.slot.At)
	if c.tries > 0 {
		over = f.Now.Sub(c.again)
	}
	if over < 0 { // the clock was put back: wait no longer than was promised by the time it shows now
		over = c.plan.Patience
	}
	if h := c.plan.hindered(f); h != nil {
		c.held = time.Time{}
		if h.final || over >= c.plan.Patience {
			c.state = waiting
			do(GaveUp, name, "the check of %s was not begun: %s", name, h.text)
			return
		}
		if sort := h.sort(); sort != c.hinder {
			c.hinder = sort
			do(Note, name, "waiting: %s", h.text)
		}
		return
	}
	if c.held.IsZero() || f.Now.Before(c.held) {
		c.held, c.hinder = f.Now, ""
		do(Note, name, "all conditions hold%s", warming(c.plan.WarmUp))
	}
	if f.Now.Sub(c.held) < c.plan.WarmUp {
		return
	}
	if c.plan.DryRun {
		c.state = waiting
		do(Done, name, "dry run: the check of %s would begin now", name)
		return
	}
	c.state = taking
	c.tries++
	do(Begin, name, "the check of %s begins", name)
}

func warming(d time.Duration) string {
	if d == 0 {
		return ""
	}
	return fmt.Sprintf("; they must for %v before it begins", d)
}

func (c *Checker) watch(f Facts, do doer) {
	name := c.slot.Name
	t := f.Taking
	if t == nil { // it could not even be begun, or the part that took it is gone
		t = &Taking{Ended: true, Why: "it came to no end that was reported"}
	}
	if !t.Ended {
		return // what moves the arm watches it; what does not sees a lost device by itself
	}
	if t.OK {
		c.state = waiting
		do(Done, name, "the check of %s is run %d", name, t.Run)
		return
	}
	why := t.Why
	if c.plan.Retry && c.tries < 2 && !t.Hazard {
		c.state, c.again = pausing, f.Now.Add(c.plan.RetryAfter)
		do(Note, name, "the check of %s failed: %s; once more in %v", name, why, c.plan.RetryAfter)
		return
	}
	c.state = waiting
	do(GaveUp, name, "the check of %s failed: %s", name, why)
}
