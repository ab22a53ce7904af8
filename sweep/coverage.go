package sweep

import (
	"math"
	"sort"
)

// Gaps, in degrees. A dense sweep has seen what lies between two readings up to denseGap apart. A station speaks for
// half the way to its neighbours, at most 45 degrees either side.
const (
	denseGap   = 5.0
	stationGap = 90.0
	gapSlack   = 1.5 // hand-set stations are not evenly spaced
)

// gap is a part of the circle without readings, in degrees.
type gap struct{ from, size float64 }

// round is what a sweep has seen of the circle, worked out once for a result.
type round struct {
	distinct int     // angles that are well apart
	gaps     []gap   // between neighbouring bins that hold readings, going round
	typical  float64 // space between neighbouring stations; 0 for a dense sweep
	missing  []gap   // what was not seen, less what the stations beside it speak for
	coverage float64 // radians
}

func (t *tally) round() round {
	r := round{distinct: t.distinct(), gaps: t.gaps()}
	r.typical = typicalGap(r.gaps)
	r.missing = missing(r.gaps, r.typical)
	seen := 360.0
	for _, g := range r.missing {
		seen -= g.size
	}
	r.coverage = Radians(max(0, seen))
	return r
}

func (t *tally) gaps() []gap {
	used := make([]span, 0, binCount)
	for _, s := range t.seen {
		if s.hi >= s.lo {
			used = append(used, s)
		}
	}
	list := make([]gap, len(used))
	for i, s := range used {
		next := used[(i+1)%len(used)].lo
		if i == len(used)-1 {
			next++
		}
		list[i] = gap{from: s.hi * 360, size: (next - s.hi) * 360}
	}
	return list
}

// missing judges gaps by the typical space between neighbours: a gap in a dense sweep was simply not seen; of one
// between stations, each of the two speaks for a part.
func missing(list []gap, typical float64) []gap {
	limit := max(denseGap, min(gapSlack*typical, stationGap))
	spoken := 0.0
	if typical > denseGap {
		spoken = min(typical, stationGap)
	}
	var out []gap
	for _, g := range list {
		if g.size > limit && g.size > spoken {
			out = append(out, gap{from: g.from + spoken/2, size: g.size - spoken})
		}
	}
	return out
}

// typicalGap is the median space between places; readings of one place (a station taken twice) are one.
func typicalGap(list []gap) float64 {
	var apart []float64
	for _, g := range list {
		if g.size > distinctDeg {
			apart = append(apart, g.size)
		}
	}
	if len(list) > 2*len(apart)+4 || len(apart) == 0 { // mostly close together: a dense sweep with holes
		return 0
	}
	sort.Float64s(apart)
	return apart[len(apart)/2]
}

// hole is the widest part of the circle that was not seen though the rest of the sweep was finer; stations evenly set,
// however few, leave none.
func (r round) hole() gap {
	var widest, g gap
	for _, c := range r.gaps {
		if c.size > widest.size {
			widest = c
		}
	}
	if widest.size <= gapSlack*r.typical {
		return g
	}
	for _, c := range r.missing {
		if c.size > g.size {
			g = c
		}
	}
	g.from = math.Mod(g.from, 360)
	return g
}

// sectors shows which of the 72 sectors of 5 degrees, counting from 0, hold readings.
func (t *tally) sectors() string {
	const wide = 5
	out := make([]byte, binCount/wide)
	for i := range out {
		out[i] = '0'
		for _, s := range t.seen[i*wide : (i+1)*wide] {
			if s.hi >= s.lo {
				out[i] = '1'
			}
		}
	}
	return string(out)
}
