package mixed

import (
	"iter"
	"math"
	"slices"

	"tramd/sweep"
)

// A display may step in coarser steps than its maker, or the person who wrote the setup, says: set to another unit, or
// a plain dial read by eye. Its readings then are all whole numbers of such a step from one another. Taken for an
// instrument of fine steps, its standing readings would look like one without noise, and each change like a chip.

const (
	finest    = 1e-6 // mm: what a reading may be written to
	fewLevels = 7    // so many different readings do not lie on a coarser grid by chance but once in 2^6
	coarsenBy = 1.5  // steps by which the grid must be coarser than stated
)

// coarsen raises the resolution of indicators to the step of what they read, and remembers the coarsest.
func (in *input) coarsen(pts []sweep.Point) {
	own := false
	for i := range in.setup.Indicators {
		step := coarserStep(readingsOf(pts, i), coarsenBy*in.setup.Indicators[i].ResolutionMM)
		if step == 0 {
			continue
		}
		if !own { // the setup is the caller's
			in.setup.Indicators, own = slices.Clone(in.setup.Indicators), true
		}
		if step > in.coarse[0] {
			in.coarse = [2]float64{step, in.setup.Indicators[i].ResolutionMM}
		}
		in.setup.Indicators[i].ResolutionMM = step
	}
}

// coarserStep is the greatest step in whole numbers in which all readings of an indicator differ, in mm; 0 where it is
// below least, or too few readings bear it out. In a sweep each level between the highest and the lowest is passed, so
// two different ones are enough.
func coarserStep(readings iter.Seq[float64], least float64) float64 {
	levels := map[int64]bool{}
	var step, first, last int64
	n := 0
	for reading := range readings {
		z := int64(math.Round(reading / finest))
		if n++; n == 1 {
			first = z
		} else if z == last {
			continue
		}
		last = z
		levels[z] = true
		if step = divisor(step, z-first); step > 0 && float64(step)*finest < least {
			return 0
		}
	}
	if len(levels) < 2 || len(levels) < fewLevels && n < 2*denseSegments {
		return 0
	}
	return float64(step) * finest
}

func readingsOf(pts []sweep.Point, indicator int) iter.Seq[float64] {
	return func(yield func(float64) bool) {
		for i := range pts {
			if pts[i].Indicator == indicator && !yield(pts[i].Reading) {
				return
			}
		}
	}
}

// divisor is the greatest common divisor (Euclid, Elements VII 2).
func divisor(a, b int64) int64 {
	a, b = max(a, -a), max(b, -b)
	for b != 0 {
		a, b = b, a%b
	}
	return a
}
