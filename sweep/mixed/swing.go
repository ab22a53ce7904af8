package mixed

import "math"

// A hand that trembles on a long arm, or an arm that rings, swings the reading to and fro within a few blocks. Such
// noise holds far less of what turns slowly, as the lean does, than white noise of the same size; taken for white it
// would make the interval too wide. Means over a few blocks each show it: they scatter less than white noise would have
// them.

const (
	mostJoined = 5
	swings     = 0.75 // of the variance that white noise would leave in the means; less is a swing
)

// joinSwings joins blocks until what swings to and fro is averaged out, and says whether it did.
func (f *fitting) joinSwings() bool {
	l := f.levels()
	if l.settled || f.both {
		return false
	}
	r := f.left(true)
	one := meanSquare(f.bs, r, 1)
	best, at := swings, 1
	paid := float64(f.d.cols - 1) // parameters, which take from the means first
	for m := 2; m <= mostJoined && len(f.bs)/m >= 2*denseSegments; m++ {
		white := 1/float64(m) - paid/float64(len(f.bs))
		if v := meanSquare(f.bs, r, m) / (white * one); white > 0 && v < best && f.typicalSpan()*float64(m) <= widest {
			best, at = v, m
		}
	}
	if at == 1 {
		return false
	}
	f.bs = joined(f.bs, at)
	f.rounded = roundedTo(f.bs, f.in.resolution)
	f.known = f.prior()
	return true
}

func (f *fitting) typicalSpan() float64 {
	spans := make([]float64, len(f.bs))
	for i := range f.bs {
		spans[i] = f.bs[i].span
	}
	return median(spans)
}

// meanSquare is the mean square of the means of m neighbours each.
func meanSquare(bs []block, r []float64, m int) float64 {
	var ss float64
	n := 0
	for i := 0; i+m <= len(bs); {
		j, sum := i, 0.0
		for ; j < i+m && goOn(bs, i, j); j++ {
			sum += r[j]
		}
		if j == i+m {
			ss += sq(sum / float64(m))
			n++
		}
		i = j
	}
	return ss / math.Max(1, float64(n))
}

// goOn reports whether block j goes on where block i began: same track, way round and offset, and no gap.
func goOn(bs []block, i, j int) bool {
	a, b := &bs[i], &bs[j]
	return i == j || a.track == b.track && a.group == b.group && a.dir == b.dir &&
		math.Abs(b.th-bs[j-1].th) < 2*(b.span+bs[j-1].span)+segmentSpan
}

// joined makes one block of up to m neighbours each.
func joined(bs []block, m int) []block {
	var out []block
	for i := 0; i < len(bs); {
		b := block{track: bs[i].track, group: bs[i].group, dir: bs[i].dir}
		lo, hi := math.Inf(1), math.Inf(-1)
		j := i
		for ; j < min(i+m, len(bs)) && goOn(bs, i, j); j++ {
			c := &bs[j]
			b.t, b.th, b.z, b.n, b.runs = b.t+c.n*c.t, b.th+c.n*c.th, b.z+c.n*c.z, b.n+c.n, b.runs+c.runs
			lo, hi = math.Min(lo, c.th-c.span/2), math.Max(hi, c.th+c.span/2)
		}
		b.t, b.th, b.z, b.span = b.t/b.n, b.th/b.n, b.z/b.n, hi-lo
		out = append(out, b)
		i = j
	}
	relativeNoise(out)
	turning(out)
	return out
}
