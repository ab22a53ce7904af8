package drift

import (
	"math"
	"slices"
)

// gaps keeps the typical time between checks: the median of the latest, so that neither two checks in one hour nor a month
// off counts for much.
type gaps struct {
	last   float64
	any    bool
	latest []float64
	sorted []float64 // the same, in order
}

const (
	gapsKept   = 31
	usualGap   = 1.0        // days, until there is anything to go by
	leastGap   = 1.0 / 1440 // a minute; checks nearer than that are one sitting
	longestGap = 400.0
)

func (g *gaps) add(t float64) {
	if g.any {
		if dt := t - g.last; dt >= leastGap {
			if len(g.latest) == gapsKept {
				old := g.latest[0]
				g.latest = append(g.latest[:0], g.latest[1:]...)
				i, _ := slices.BinarySearch(g.sorted, old)
				g.sorted = slices.Delete(g.sorted, i, i+1)
			}
			g.latest = append(g.latest, dt)
			i, _ := slices.BinarySearch(g.sorted, dt)
			g.sorted = slices.Insert(g.sorted, i, dt)
		}
	}
	g.last, g.any = t, true
}

func (g *gaps) typical() float64 {
	if len(g.sorted) == 0 {
		return usualGap
	}
	return math.Min(g.sorted[len(g.sorted)/2], longestGap)
}
