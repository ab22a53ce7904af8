package frame

import (
	"math"
	"time"
)

// Arrival is what is known of when the bytes of one read came.
type Arrival struct {
	From, At Stamp // after From, and no later than At
	Prompt   bool  // their coming is what ended the wait, so the first of them came just before At
	Gather   Stamp // for how long the reader itself let bytes lie, on purpose or for want of a processor
}

// lateAfter is the time between two looks, beyond what was planned, from which somebody was late: this program, the
// adapter or the instrument. It does not show which, so the lines are taken to have come together at the end, as they
// do where the others were late.
const lateAfter = Stamp(10 * time.Millisecond)

// together says whether the lines are best taken to have come one right after the other.
func (a Arrival) together() bool { return a.Prompt || a.At-a.From > a.Gather+lateAfter }

const (
	// promptWithin is how long a wake-up takes where nothing disturbs it.
	promptWithin = Stamp(100 * time.Microsecond)
	// learnLines is how many lines it takes to know the period of an instrument.
	learnLines = 64
	// unevenAt is the unevenness, in periods, from which an instrument has no pace that is worth following.
	unevenAt = 0.03
)

// pace knows an instrument that sends at a pace of its own, and so when its lines came that were found lying there.
// It expects each line one period after the one before; where the read says otherwise, the read is right and the
// expectation is moved, by no more than it must. So a stamp never leaves the time in which its line can have come.
type pace struct {
	n        int     // lines since it began to learn
	first    float64 // of those, in nanoseconds
	last     float64 // the latest line
	period   float64 // 0 while it learns
	anchored int     // lines since the last that was waited for
	misses   int     // lines in a row that were far from expected
	uneven   float64 // how far lines found lying there are from expected of late, in periods
}

// place corrects the stamps of one read, which spread has set.
func (t *pace) place(s []Sample, a Arrival) {
	if len(s) == 0 {
		return
	}
	if t.period == 0 {
		t.learn(s)
		return
	}
	// Several lines of an instrument whose pace is known did not come at the moment of the wake-up: somebody was busy.
	a.Prompt = a.Prompt && len(s) == 1
	if len(s) > 1 && a.together() {
		t.last, t.anchored = float64(s[len(s)-1].At), 0
		return
	}
	low, high := float64(a.From), float64(a.At)
	if a.Prompt {
		low = max(low, high-float64(promptWithin))
	}
	n := float64(len(s))
	end := t.last + t.period*n
	low = max(low, min(low+t.period*(n-1), high)) // the first of them came after From, and the others a period apart
	off := min(max(end, low), high) - end
	far := math.Abs(off) > t.period/2
	if t.misses++; !far {
		t.misses = 0
	}
	// A line or two may be missing; more, or many times, and this is not the pace that was learned.
	if t.misses > 3 || math.Abs(off) > 4*t.period {
		*t = pace{}
		t.learn(s)
		return
	}
	if t.uneven < unevenAt { // else the middle of the time in which they can have come is the better guess
		for i := range s {
			at := t.last + off + t.period*float64(i+1)
			s[i].At = Stamp(min(max(at, float64(a.From)), high))
		}
	}
	t.last = end + off
	t.anchored += len(s)
	switch {
	case far: // the phase has jumped
		t.anchored = 0
	case a.Prompt:
		t.period += off / 2 / float64(max(t.anchored, learnLines/2)) // one alone says little
		t.anchored = 0
	default:
		t.period += off / 32 / n
	}
	if !a.Prompt {
		t.uneven += (math.Abs(off)/t.period - t.uneven) / 32
	}
}

// learn takes the mean period of the first lines. A pause in them is no part of it.
func (t *pace) learn(s []Sample) {
	for i := range s {
		at := float64(s[i].At)
		if t.n > 1 && at-t.last > 4*(t.last-t.first)/float64(t.n-1) {
			t.n = 0
		}
		if t.n == 0 {
			t.first = at
		}
		t.last = at
		t.n++
	}
	if t.n > learnLines {
		t.period = (t.last - t.first) / float64(t.n-1)
	}
}
