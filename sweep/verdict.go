package sweep

import (
	"math"

	"tramd/sweep/units"
)

// Judge decides on one axis: within when the whole interval lies inside the limits, outside when none of it does, that
// is, with a guard band as wide as the expanded uncertainty on both sides of each limit (ISO 14253-1:2013, 5.2 and 5.3;
// JCGM 106:2012, 8.3).
func Judge(slope, expanded units.Slope, tol units.Tolerance) Verdict {
	size := units.Slope(math.Abs(float64(slope)))
	switch {
	case !tol.Given():
		return None
	case size+expanded <= tol.Limit:
		return Within
	case size-expanded > tol.Limit:
		return Outside
	}
	return Undecided
}

// JudgeBoth decides on the spindle: one axis outside is enough to fail, and nothing passes that was not measured.
func JudgeBoth(tilt, nod *Axis, tol units.Tolerance) Verdict {
	if !tol.Given() {
		return None
	}
	all := Within
	for _, a := range []*Axis{tilt, nod} {
		switch {
		case a == nil:
			all = Undecided
		case a.Verdict == Outside:
			return Outside
		case a.Verdict != Within:
			all = Undecided
		}
	}
	return all
}
