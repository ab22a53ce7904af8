package drift

import (
	"math"
	"slices"
)

// gaps keeps the typical time between checks: the median of the latest, so that neither two checks in one hour nor a
// month off counts for much.
type gaps struct {
	last   float64
	any    bool
	latest []float64 // round and round
	oldest int       // of the latest, once there are enough
	sorted []float64 // the same, in order
}

const (
	gapsKept   = 31
	usualGap   = 1.0      // days, until there is anything to go by
	leastGap   = 1.0 / 48 // half an hour; checks nearer than that are one sitting, and tell no rate
	longestGap = 400.0
)

func (g *gaps) add(t float64) {
	if g.any {
		if dt := t - g.last; dt >= leastGap {
			if len(g.latest) < gapsKept {
				g.latest = append(g.latest, dt)
				i, _ := slices.BinarySearch(g.sorted, dt)
				g.sorted = slices.Insert(g.sorted, i, dt)
			} else {
				old := g.latest[g.oldest]
				g.latest[g.oldest] = dt
				g.oldest = (g.oldest + 1) % gapsKept
				g.swap(old, dt)
			}
		}
	}
	g.last, g.any = t, true
}

// swap takes one out of the sorted ones and puts another in.
func (g *gaps) swap(old, dt float64) {
	i, _ := slices.BinarySearch(g.sorted, old)
	for ; i+1 < len(g.sorted) && g.sorted[i+1] < dt; i++ {
		g.sorted[i] = g.sorted[i+1]
	}
	for ; i > 0 && g.sorted[i-1] > dt; i-- {
		g.sorted[i] = g.sorted[i-1]
	}
	g.sorted[i] = dt
}

func (g *gaps) typical() float64 {
	if len(g.sorted) == 0 {
		return usualGap
	}
	return math.Min(g.sorted[len(g.sorted)/2], longestGap)
}

// low is the lower median, which one long gap of two is not.
func (g *gaps) low() float64 {
	if len(g.sorted) == 0 {
		return usualGap
	}
	return g.sorted[(len(g.sorted)-1)/2]
}
