package motion

import (
	"math"
	"time"
)

// Indicator is what the readings of one indicator must do while the arm is moved.
type Indicator struct {
	Name      string
	LowMM     float64 // where they must stay
	HighMM    float64
	Unlimited bool    // nothing was said of where
	Frozen    float64 // a number that stays the same over so many degrees of turning is not believed; 0: it is
}

// Readings are what an indicator read between two looks.
type Readings struct {
	N              int
	Low, High, Now float64 // mm: least, largest, latest. NaN is outside every travel
}

// add takes one more reading.
func (r *Readings) add(mm float64) {
	if r.N++; r.N == 1 {
		*r = Readings{1, mm, mm, mm}
		return
	}
	r.Low, r.High = math.Min(r.Low, mm), math.Max(r.High, mm) // a NaN stays
	r.Now = mm
}

// outside returns the reading that lies outside the travel, if there is one: between two looks it may have come back.
func (i Indicator) outside(r Readings) (mm float64, out bool) {
	switch {
	case i.Unlimited:
		return 0, false
	case !(r.Low >= i.LowMM):
		return r.Low, true
	case !(r.High <= i.HighMM):
		return r.High, true
	}
	return 0, false
}

// watch is what was last heard of an indicator.
type watch struct {
	heard time.Duration
	mm    float64 // the number it shows
	same  int     // how many readings in a row were that
	since float64 // degrees the arm had turned when it first was
}

// take takes readings; turned is how far the arm has turned by now.
func (w *watch) take(now time.Duration, r Readings, turned float64) {
	w.heard = now
	if w.same > 0 && r.Low == w.mm && r.High == w.mm {
		w.same += r.N
		return
	}
	w.mm, w.same, w.since = r.Now, 1, turned
}

// A number that stays is worth a stop only on some evidence: a plunger that is moved over a table changes the last
// digit now and then, not at each reading.
const (
	frozenReadings = 20
	frozenTime     = 2 * time.Second
)

// frozen says whether an indicator has shown one number for too long, while the arm turned by deg in a time of turning.
func (i Indicator) frozen(w watch, deg float64, turning time.Duration) bool {
	return i.Frozen > 0 && w.same >= frozenReadings && deg >= i.Frozen && turning >= frozenTime
}
