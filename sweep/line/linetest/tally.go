package linetest

import (
	"fmt"
	"math"
	"slices"
)

// Tally counts how often intervals hold the truth, and how wide they are beside what the errors need.
type Tally struct {
	off, half []float64
}

// Add counts one estimate that is off by so much, and half its interval.
func (t *Tally) Add(off, half float64) {
	t.off, t.half = append(t.off, math.Abs(off)), append(t.half, half)
}

// Held returns the share of the intervals that hold the truth.
func (t *Tally) Held() float64 {
	n := 0
	for i, off := range t.off {
		if off <= t.half[i] {
			n++
		}
	}
	return float64(n) / float64(len(t.off))
}

// Wide returns how many times as wide as needed the interval in the middle is: what is needed holds 95 errors of 100.
func (t *Tally) Wide() float64 {
	off, half := slices.Sorted(slices.Values(t.off)), slices.Sorted(slices.Values(t.half))
	return half[len(half)/2] / off[min(len(off)-1, len(off)*95/100)]
}

// Sound reports whether no fewer than 91 of 100 intervals hold the truth, less what chance takes away from so few
// in all but one of a thousand tallies.
func (t *Tally) Sound() bool {
	return t.Held() >= 0.91-3*math.Sqrt(0.95*0.05/float64(len(t.off)))
}

func (t *Tally) String() string {
	return fmt.Sprintf("held %3.0f %% of %d, %.2f times as wide as needed", 100*t.Held(), len(t.off), t.Wide())
}
