package mixed

import (
	"math"
	"sort"

	"tramd/sweep"
)

// clean finds what must not bend the fit: repeats and flat stretches, single spikes, arcs off the surface, and knocks
// of the stylus. It marks readings and segments, and returns the segments with their means, the robust fit and the
// number of offset groups.
func clean(in *input) ([]segment, start, int) {
	found := meanwhile(in.readings, in.findWays)
	in.dropDuplicates()
	in.dropEnds()
	found()
	segs := in.segments()
	groups := len(in.tracks)
	stations := len(segs) < denseSegments
	s := robust(in, segs, groups, robustOrder)
	if !stations {
		if in.dropFlats(&s) > 0 {
			segs = in.segments()
			s = robust(in, segs, groups, robustOrder)
		}
		segs, s, groups = findKnocks(in, segs, s, groups)
	}
	in.dropSpikes(segs, &s)
	if stations {
		rejectStations(in, segs, &s, groups)
	} else {
		for range 2 {
			rejectArcs(in, segs, &s)
			s = robust(in, segs, groups, robustOrder+1)
		}
	}
	for i := range segs {
		if segs[i].why == kept {
			segs[i].mean(&in.tracks[segs[i].track])
		}
		for j := segs[i].lo; j < segs[i].hi && segs[i].why != kept; j++ {
			if w := &in.tracks[segs[i].track].why[j]; *w == kept {
				*w = segs[i].why
			}
		}
	}
	return segs, s, groups
}

// denseSegments is where a handful of stations ends and a sweep begins.
const denseSegments = 30

// The least height of an arc that is called off the surface, in grains (see input.grain); anything less is form or
// noise. Swept both ways, the lost motion of the plunger jumps by up to some ten steps of its own.
const (
	shallowGrains         = 6.0
	shallowBothWaysGrains = 15.0
)

// The wider an arc, the more it must differ to be no plate of its own and no wave of the table: by steepGrains more
// from wideArc upwards.
const (
	wideArc     = 25 * math.Pi / 180
	steepGrains = 50.0
)

// shallow is the least height of an arc, in grains.
func shallow(segs []segment) float64 {
	var ways [3]int
	for i := range segs {
		ways[int(segs[i].dir)+1]++
	}
	if 5*min(ways[0], ways[2]) >= len(segs) {
		return shallowBothWaysGrains
	}
	return shallowGrains
}

func (in *input) dropDuplicates() {
	for k := range in.tracks {
		tr := &in.tracks[k]
		for i := 1; i < len(tr.t); i++ {
			if tr.t[i] == tr.t[i-1] && tr.th[i] == tr.th[i-1] && tr.z[i] == tr.z[i-1] {
				tr.why[i] = duplicate
			}
		}
	}
}

// A segment of ownReadings shows by itself which of them is far off. Where fewer come along a line, because it is passed
// quickly or the indicator is slow, the segments on both sides up to besideSpan away help, until there are windowReadings.
const (
	ownReadings    = 4
	windowReadings = 7
	besideSpan     = 4 * segmentSpan
	windowLimit    = 2.0 // times as far off: the curve bends over a wider stretch
)

// around returns the range of segments beside whose readings those of a segment are judged. Stations are no neighbours,
// and round a circle it has not been studied what it does to the effects of direction.
func (in *input) around(segs []segment, i int) (lo, hi int) {
	lo, hi = i, i+1
	if segs[i].n >= ownReadings || !in.basis.line || len(segs) < denseSegments {
		return lo, hi
	}
	joins := func(j int) bool {
		return j >= 0 && j < len(segs) && segs[j].track == segs[i].track && segs[j].group == segs[i].group &&
			segs[j].dir == segs[i].dir && math.Abs(segs[j].th-segs[i].th) <= besideSpan
	}
	for n := segs[i].n; n < windowReadings; {
		before, after := joins(lo-1) && !segs[lo].fresh, joins(hi) && !segs[hi].fresh
		if !before && !after {
			break
		}
		if before {
			lo--
			n += segs[lo].n
		}
		if after {
			n += segs[hi].n
			hi++
		}
	}
	return lo, hi
}

// dropSpikes leaves out single readings far from the middle of their neighbours.
func (in *input) dropSpikes(segs []segment, s *start) {
	furthest, spreads := make([]float64, len(segs)), make([]float64, len(segs))
	inShares(len(segs), func(lo, hi int) {
		var off, size []float64
		var times float64
		for i := lo; i < hi; i++ {
			off, size, times = in.offMiddle(segs, i, s, off, size)
			for _, v := range off {
				furthest[i] = max(furthest[i], math.Abs(v)/times)
			}
			spreads[i] = -1
			if len(size) >= ownReadings {
				spreads[i] = toSD * median(size)
			}
		}
	})
	shown := spreads[:0]
	for _, v := range spreads {
		if v >= 0 {
			shown = append(shown, v)
		}
	}
	if len(shown) == 0 {
		return
	}
	in.scatter = median(shown)
	limit := 4*math.Max(in.scatter, 0.29*in.resolution) + 0.5*in.resolution
	in.spike = limit
	var off, buf []float64
	var times float64
	for i := range segs {
		g := &segs[i]
		tr := &in.tracks[g.track]
		if furthest[i] <= limit {
			continue
		}
		off, buf, times = in.offMiddle(segs, i, s, off, buf)
		if len(buf) < 3 {
			continue
		}
		at := 0
		for j := g.lo; j < g.hi; j++ {
			if tr.why[j] != kept {
				continue
			}
			d := off[at]
			at++
			if math.Abs(d) > limit*times {
				tr.why[j] = spikeDown
				if d > 0 {
					tr.why[j] = spikeUp
				}
			}
		}
		buf = g.middle(tr, buf)
	}
}

// offMiddle returns how far each kept reading of a segment is from the middle of those that it is judged beside, the
// curve of the fit taken off, the sizes of that for all of them, and how many times as far off as in a full segment a
// reading must be. Both are written over what was in the buffers.
func (in *input) offMiddle(segs []segment, i int, s *start, off, size []float64) (offs, sizes []float64,
	times float64) {
	g := &segs[i]
	off = g.offCurve(&in.tracks[g.track], s, off[:0])
	size, times = append(size[:0], off...), 1
	if lo, hi := in.around(segs, i); hi-lo > 1 {
		times = windowLimit
		for k := lo; k < hi; k++ {
			if k != i {
				size = segs[k].offCurve(&in.tracks[g.track], s, size)
			}
		}
	}
	mid := median(size)
	for j := range off {
		off[j] -= mid
	}
	for j := range size {
		size[j] = math.Abs(size[j] - mid)
	}
	return off, size, times
}

// offCurve appends how far each kept reading is from the curve of the fit, which is straight over a segment.
func (g *segment) offCurve(tr *track, s *start, off []float64) []float64 {
	th0, th1 := tr.th[g.lo], tr.th[g.hi-1]
	z0, slope := s.at(tr.scale, th0, g.t), 0.0
	if th1 != th0 {
		slope = (s.at(tr.scale, th1, g.t) - z0) / (th1 - th0)
	}
	for j := g.lo; j < g.hi; j++ {
		if tr.why[j] == kept {
			off = append(off, tr.z[j]-z0-slope*(tr.th[j]-th0))
		}
	}
	return off
}

// rejectArcs leaves out segments far above or below the robust fit, with those beside them that are on the way there.
func rejectArcs(in *input, segs []segment, s *start) {
	least, steep := shallow(segs)*in.grain(), steepGrains*in.grain()
	far := math.Max(5*s.scale+in.resolution, least)
	near := 2.5 * s.scale
	r := make([]float64, len(segs))
	for i := range segs {
		r[i] = s.residual(in, &segs[i])
	}
	mark := func(i int, why code) {
		if segs[i].why == kept {
			segs[i].why = why
		}
	}
	for i := range segs {
		if segs[i].why != kept || math.Abs(r[i]) <= far {
			continue
		}
		why := hollow
		if r[i] > 0 {
			why = raised
		}
		first, last, height := i, i, math.Abs(r[i])
		part := func(j int) bool {
			return j >= 0 && j < len(segs) && segs[j].track == segs[i].track && r[j]*r[i] > 0 && math.Abs(r[j]) >= near
		}
		for ; part(first - 1); first-- {
			height = math.Max(height, math.Abs(r[first-1]))
		}
		for ; part(last + 1); last++ {
			height = math.Max(height, math.Abs(r[last+1]))
		}
		width := math.Abs(segs[last].th-segs[first].th) / wideArc
		if height < least+steep*math.Min(1, math.Pow(width, 6)) {
			continue
		}
		for j := first; j <= last; j++ {
			mark(j, why)
		}
	}
	// The stylus rolls over an edge before it drops, and up one before it stands on top: the neighbours of an arc of
	// some length go too.
	edge := make([]code, len(segs))
	long := func(i int) bool { // whether a segment off the surface is part of more than one
		for _, k := range [2]int{i - 1, i + 1} {
			if k >= 0 && k < len(segs) && segs[k].track == segs[i].track && segs[k].why == segs[i].why {
				return true
			}
		}
		return false
	}
	for i := 1; i < len(segs); i++ {
		a, b := &segs[i-1], &segs[i]
		if a.track != b.track || (a.why == kept) == (b.why == kept) {
			continue
		}
		if a.why == kept && (b.why == hollow || b.why == raised) && long(i) {
			edge[i-1] = b.why
		}
		if b.why == kept && (a.why == hollow || a.why == raised) && long(i-1) {
			edge[i] = a.why
		}
	}
	for i, e := range edge {
		if e != kept && segs[i].span < 2*segmentSpan && len(segs) > 3*denseSegments {
			mark(i, e)
		}
	}
}

// rejectStations leaves out single stations that stand far from what all others agree on, as long as enough remain to
// show that they agree.
func rejectStations(in *input, segs []segment, s *start, groups int) {
	for {
		type bad struct {
			i int
			r float64
		}
		var res []float64
		var worst bad
		live := 0
		for i := range segs {
			if segs[i].why != kept {
				continue
			}
			live++
			r := s.residual(in, &segs[i])
			res = append(res, math.Abs(r))
			if math.Abs(r) > math.Abs(worst.r) {
				worst = bad{i, r}
			}
		}
		p := 2 + groups
		if live-p < 3 || live <= len(segs)*2/3 {
			return
		}
		// The spread of the others, corrected for the parameters they paid for.
		sort.Float64s(res)
		var ss float64
		for _, v := range res[:live-1] {
			ss += v * v
		}
		scale := math.Max(math.Sqrt(ss/float64(live-1-p)), 0.5*in.step())
		if math.Abs(worst.r) < 8*scale {
			return
		}
		segs[worst.i].why = hollow
		if worst.r > 0 {
			segs[worst.i].why = raised
		}
		*s = robust(in, segs, groups, robustOrder)
	}
}

// rejections lists what was left out, neighbours joined.
func (in *input) rejections() []sweep.Rejection {
	var out []sweep.Rejection
	if in.unknown > 0 {
		out = append(out, sweep.Rejection{Code: "no_angle", FromS: in.unknownT[0], ToS: in.unknownT[1],
			Readings: in.unknown})
	}
	for k := range in.tracks {
		tr := &in.tracks[k]
		last := -10
		for i, w := range tr.why {
			if w == kept {
				continue
			}
			if n := len(out) - 1; last >= 0 && i-last <= 2 && tr.why[last] == w {
				out[n].ToS, out[n].ToDeg = tr.t[i], sweep.Degrees(tr.th[i])
				out[n].Readings++
			} else {
				out = append(out, sweep.Rejection{
					Code: codeNames[w], Indicator: tr.indicator, FromS: tr.t[i], ToS: tr.t[i],
					FromDeg: sweep.Degrees(tr.th[i]), ToDeg: sweep.Degrees(tr.th[i]), Readings: 1,
				})
			}
			last = i
		}
	}
	return out
}
