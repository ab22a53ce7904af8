package clock

import (
	"sync"
	"time"
)

// Clock is what a Watcher looks at.
type Clock struct {
	Wall func() time.Time     // the time of day, as it is set
	Boot func() time.Duration // since boot, on a clock that is never set
	Set  func() bool          // whether Wall can be believed
}

// System is the machine's own clock. A trusted one counts as set from the start: it has a battery, or somebody sets it
// by hand where there is no network.
func System(trusted bool) Clock {
	c := Clock{Wall: time.Now, Boot: SinceBoot, Set: newTimekeepers().isSet}
	if trusted {
		c.Set = func() bool { return true }
	}
	return c
}

// Change is what a Watcher found.
type Change struct {
	Step   time.Duration // how far the time of day was put forward (back: negative); 0: it was not
	Set    bool          // whether the clock is set now
	Newly  bool          // whether it was set since the last look; true at the first look at one that is set
	Booted time.Time     // the moment of boot by the time of day as it is now
}

// stepped is the least jump between two looks that counts as a step: what disciplines a clock slews below 1 ms a second
// (500 ppm, adjtimex(2)) and steps from 128 ms on (NTP, RFC 5905, STEPT in figure 27; from memory).
const stepped = 100 * time.Millisecond

// spread is how far apart two readings of the clocks may lie to be taken for one moment; a busy machine may come
// between.
const spread = 5 * time.Millisecond

// Watcher notices when the time of day is set or stepped. Its methods may be used from many goroutines.
type Watcher struct {
	clock Clock

	mu     sync.Mutex
	booted time.Time
	set    bool
	looked bool
}

// NewWatcher makes a watcher that has not looked yet.
func NewWatcher(c Clock) *Watcher { return &Watcher{clock: c} }

// IsSet reports whether the clock was set at the last look.
func (w *Watcher) IsSet() bool {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.set
}

// Look compares the clocks with the last look and says whether anything changed.
func (w *Watcher) Look() (Change, bool) {
	set := w.clock.Set() // first: set counts only for a time read after it; it may take a moment, so not under the lock
	w.mu.Lock()
	defer w.mu.Unlock()
	booted, ok := w.moment()
	if !ok { // the machine came between each time; the next look will do
		return Change{}, false
	}
	c := Change{Set: set, Newly: set && !w.set, Booted: booted}
	if w.looked {
		if by := booted.Sub(w.booted); by >= stepped || by <= -stepped {
			c.Step = by
		}
	}
	changed := c.Step != 0 || c.Newly || w.looked && set != w.set
	w.booted, w.set, w.looked = booted, set, true
	return c, changed
}

// moment reads both clocks as close together as can be had.
func (w *Watcher) moment() (time.Time, bool) {
	for range 8 {
		before := w.clock.Boot()
		wall := w.clock.Wall().Round(0)
		after := w.clock.Boot()
		if after-before <= spread {
			return wall.Add(-before - (after-before)/2), true
		}
	}
	return time.Time{}, false
}
