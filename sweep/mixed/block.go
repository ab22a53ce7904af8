package mixed

import (
	"math"
	"sort"
)

const (
	wantBlocks = 260
	crowding   = 0.1               // share of a typical block's variance that no number of readings averages out
	widest     = 8 * math.Pi / 180 // a block never covers more of the circle, however many turns there are
)

// block is a stretch of consecutive readings that the model sees as one mean: the reduction that keeps the cost near
// linear.
type block struct {
	track, group int
	t, th, z     float64
	span, dir    float64
	rate         float64 // turning, rad/s, signed
	n            float64
	noise        float64 // variance of its white noise, relative to the typical block
	runs         float64 // stretches of equal readings
}

// blocks joins neighbouring segments of a track.
func blocks(in *input, segs []segment) []block {
	var path float64
	var live []*segment
	for i := range segs {
		if g := &segs[i]; g.why == kept && g.n > 0 {
			path += math.Max(g.span, 1e-3)
			live = append(live, g)
		}
	}
	limit := math.Min(widest, 1.05*path/wantBlocks)
	var out []block
	for i := 0; i < len(live); {
		first := live[i]
		b := block{track: first.track, group: first.group, dir: first.dir}
		lo, hi := math.Inf(1), math.Inf(-1)
		last := first
		for ; i < len(live); i++ {
			g := live[i]
			from, to := g.th-g.span/2, g.th+g.span/2
			if b.n > 0 && (g.fresh || g.track != b.track || g.group != b.group || g.dir != b.dir ||
				math.Max(hi, to)-math.Min(lo, from) > math.Max(limit, sameStation) ||
				math.Abs(g.th-last.th) > 2*segmentSpan) {
				break
			}
			n := float64(g.n)
			b.t, b.th, b.z, b.n = b.t+n*g.t, b.th+n*g.th, b.z+n*g.z, b.n+n
			b.runs += float64(g.runs)
			lo, hi, last = math.Min(lo, from), math.Max(hi, to), g
		}
		b.t, b.th, b.z = b.t/b.n, b.th/b.n, b.z/b.n
		b.span = hi - lo
		out = append(out, b)
	}
	out = mergeStations(out)
	relativeNoise(out)
	turning(out)
	return out
}

// mergeStations joins what stayed at one station: a pause is one look at the surface, however many readings it gave.
func mergeStations(in []block) []block {
	out := in[:0]
	for _, b := range in {
		if n := len(out) - 1; n >= 0 {
			a := &out[n]
			if a.track == b.track && a.group == b.group && math.Abs(a.th-b.th) < sameStation &&
				a.span+b.span < 2*sameStation {
				w := a.n + b.n
				a.t, a.th, a.z = (a.n*a.t+b.n*b.t)/w, (a.n*a.th+b.n*b.th)/w, (a.n*a.z+b.n*b.z)/w
				a.n = w
				a.runs += b.runs
				continue
			}
		}
		out = append(out, b)
	}
	return out
}

// relativeNoise gives a block the variance its number of readings suggests. Readings close in time are never worth as
// much as their number, so a crowded block gains less and less.
func relativeNoise(bs []block) {
	counts := make([]float64, len(bs))
	for i, b := range bs {
		counts[i] = b.n
	}
	sort.Float64s(counts)
	typical := counts[len(counts)/2]
	for i := range bs {
		if bs[i].span < sameStation {
			bs[i].noise = 1
			continue
		}
		bs[i].noise = crowding + (1-crowding)*typical/bs[i].n
	}
}

func turning(bs []block) {
	for i := range bs {
		for _, j := range []int{i - 1, i + 1} {
			if j < 0 || j >= len(bs) || bs[j].track != bs[i].track || bs[j].dir != bs[i].dir {
				continue
			}
			if dt := bs[j].t - bs[i].t; dt != 0 {
				bs[i].rate = (bs[j].th - bs[i].th) / dt
			}
		}
	}
}

// meanRate is how fast the arm turns, in radians a second, on the mean over the blocks.
func meanRate(bs []block) (rate float64) {
	for i := range bs {
		rate += math.Abs(bs[i].rate) / float64(len(bs))
	}
	return rate
}

// bothWays reports whether a good part of the sweep went each way round.
func bothWays(bs []block) bool {
	var ccw, cw float64
	for _, b := range bs {
		if b.dir > 0 {
			ccw++
		} else if b.dir < 0 {
			cw++
		}
	}
	return math.Min(ccw, cw) >= 0.2*float64(len(bs)) && math.Min(ccw, cw) >= 5
}
