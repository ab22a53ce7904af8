package mixed

import (
	"math"
	"slices"
	"sort"
)

const mostKnocks = 3

// leastKnockMM is the least jump that is called a knock; less may be the edge of a plate or lost motion of the plunger.
const leastKnockMM = 0.015

// findKnocks looks for places where the reading jumped and stayed: a knocked stylus, a slipped clamp. Each begins a new
// offset group. A jump is believed only when an own offset after it makes the whole fit much tighter; a slot jumps twice
// and does not.
func findKnocks(in *input, segs []segment, s start, groups int) ([]segment, start, int) {
	for range mostKnocks {
		best, bestAt := s, -1
		for _, at := range jumps(in, segs, &s) {
			trial := split(segs, at, groups)
			if t := robust(in, trial, groups+1, robustOrder); t.scale < 0.7*best.scale && math.Abs(t.offset[groups]-t.offset[segs[at].group]) > math.Max(5*t.scale, leastKnockMM) {
				best, bestAt = t, at
			}
		}
		if bestAt < 0 {
			break
		}
		segs, s = split(segs, bestAt, groups), best
		groups++
	}
	return segs, s, groups
}

// split gives the segments of one group from at on a new group.
func split(segs []segment, at, group int) []segment {
	out := append([]segment(nil), segs...)
	old := out[at].group
	for i := at; i < len(out) && out[i].track == out[at].track; i++ {
		if out[i].group == old {
			out[i].group = group
		}
	}
	return out
}

// jumps returns the few most striking places where the middle of the next segments differs from that of the last.
func jumps(in *input, segs []segment, s *start) []int {
	const w = 4
	r := make([]float64, len(segs))
	for i := range segs {
		r[i] = s.residual(in, &segs[i])
	}
	type jump struct {
		at   int
		size float64
	}
	var all []jump
	var sizes []float64
	var a, b [w]float64
	for i := 2 * w; i+2*w <= len(segs); i++ {
		if segs[i-2*w].group != segs[i+2*w-1].group {
			continue
		}
		copy(a[:], r[i-w:i])
		copy(b[:], r[i:i+w])
		d := median(b[:]) - median(a[:])
		all = append(all, jump{i, math.Abs(d)})
		sizes = append(sizes, d)
	}
	if len(all) == 0 {
		return nil
	}
	limit := 6 * math.Max(spread(sizes), 0.1*in.resolution+1e-9)
	all = slices.DeleteFunc(all, func(j jump) bool { return j.size < limit })
	sort.SliceStable(all, func(i, j int) bool { return all[i].size > all[j].size })
	var out []int
	for _, j := range all {
		if len(out) == 6 {
			break
		}
		if !stays(segs, r, j.at, j.size) {
			continue
		}
		near := false
		for _, o := range out {
			near = near || o-j.at < w && j.at-o < w
		}
		if !near {
			out = append(out, j.at)
		}
	}
	return out
}

// stays says whether most of a jump is still there a good way on: over a slot it is not.
func stays(segs []segment, r []float64, at int, size float64) bool {
	const far = 16
	lo, hi := max(0, at-far), min(len(r), at+far)
	for segs[lo].group != segs[at].group {
		lo++
	}
	for segs[hi-1].group != segs[at].group {
		hi--
	}
	before, after := append([]float64(nil), r[lo:at]...), append([]float64(nil), r[at:hi]...)
	return math.Abs(median(after)-median(before)) > 0.5*size
}
