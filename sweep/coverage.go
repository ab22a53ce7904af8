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

// gap is a part of the circle between two neighbouring readings, in degrees.
type gap struct{ from, size float64 }

// gaps lists the spaces between the neighbouring bins that hold readings, going round.
func (t *tally) gaps() []gap {
	var used []span
	var list []gap
	for _, s := range t.seen {
		if s.hi >= s.lo {
			used = append(used, s)
		}
	}
	for i, s := range used {
		next := used[(i+1)%len(used)].lo
		if i == len(used)-1 {
			next++
		}
		list = append(list, gap{from: s.hi * 360, size: (next - s.hi) * 360})
	}
	return list
}

// missing gives the gaps that the sweep has not seen, and how much of each, by the typical space between neighbours:
// small for a dense sweep, where a gap is simply not seen, and large for stations.
func (t *tally) missing() []gap {
	list := t.gaps()
	if len(list) == 0 {
		return []gap{{size: 360}}
	}
	typical := typicalGap(list)
	limit := max(denseGap, min(gapSlack*typical, stationGap))
	var out []gap
	for _, g := range list {
		if g.size <= limit {
			continue
		}
		spoken := 0.0
		if typical > denseGap {
			spoken = min(typical, stationGap)
		}
		if g.size > spoken {
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

// coverage is how much of the circle was seen, in radians.
func (t *tally) coverage() float64 {
	seen := 360.0
	for _, g := range t.missing() {
		seen -= g.size
	}
	return Radians(max(0, seen))
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

// hole is the widest part of the circle that was not seen though the rest of the sweep was finer; stations evenly set,
// however few, leave none.
func (t *tally) hole() gap {
	list := t.gaps()
	widest := 0.0
	for _, g := range list {
		widest = max(widest, g.size)
	}
	var g gap
	if widest <= gapSlack*typicalGap(list) {
		return g
	}
	for _, c := range t.missing() {
		if c.size > g.size {
			g = c
		}
	}
	g.from = math.Mod(g.from, 360)
	return g
}
