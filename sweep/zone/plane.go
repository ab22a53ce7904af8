package zone

import (
	"cmp"
	"math"
	"slices"
)

// Plane is z = At + X x + Y y and the distance between the highest and the lowest point about it.
type Plane struct{ X, Y, At, Height float64 }

// LeastSquaresPlane returns the least-squares plane; ok is false where the places lie on one line or point.
func LeastSquaresPlane(x, y, z []float64) (p Plane, ok bool) {
	n := float64(len(x))
	var mx, my, mz, xx, xy, yy, xz, yz float64
	for i := range x { // from the first, so that places all alike differ by nothing
		mx, my, mz = mx+(x[i]-x[0])/n, my+(y[i]-y[0])/n, mz+(z[i]-z[0])/n
	}
	if n > 0 {
		mx, my, mz = mx+x[0], my+y[0], mz+z[0]
	}
	for i := range x {
		a, b, c := x[i]-mx, y[i]-my, z[i]-mz
		xx, xy, yy, xz, yz = xx+a*a, xy+a*b, yy+b*b, xz+a*c, yz+b*c
	}
	det := xx*yy - xy*xy
	if !(det > 1e-12*xx*yy) {
		return p, false
	}
	p.X, p.Y = (xz*yy-yz*xy)/det, (yz*xx-xz*xy)/det
	p.At = mz - p.X*mx - p.Y*my
	p.Height, _, _ = spread(x, y, z, p)
	return p, true
}

// spread is the height of the zone about a plane of which only the slopes count, with its highest and its lowest point.
func spread(x, y, z []float64, p Plane) (height, low, high float64) {
	low, high = math.Inf(1), math.Inf(-1)
	for i, v := range z {
		d := v - p.X*x[i] - p.Y*y[i]
		low, high = math.Min(low, d), math.Max(high, d)
	}
	return high - low, low, high
}

const (
	firstActive = 24    // points looked at first, above and below alike
	moreActive  = 12    // points taken in at each round
	asGoodAs    = 1e-12 // of the width of the zone
)

// FitPlane returns the minimum zone of a plane; ok is false where the places lie on one line or point.
//
// Few points bound the zone. It is found for a few that stand furthest out, then the rest are held against it and those
// outside are taken in, until none is: that zone holds all points, and the few alone do not fit into a smaller one.
func FitPlane(x, y, z []float64) (p Plane, ok bool) {
	start, ok := LeastSquaresPlane(x, y, z)
	if !ok {
		return p, false
	}
	at := start
	var active []int
	in := make([]bool, len(x))
	take := func(p Plane, most int) (taken int) {
		far := make([]int, 0, len(x))
		for i := range x {
			if !in[i] {
				far = append(far, i)
			}
		}
		off := func(i int) float64 { return z[i] - p.X*x[i] - p.Y*y[i] }
		slices.SortFunc(far, func(a, b int) int { return cmp.Compare(off(a), off(b)) })
		for k := range min(most, (len(far)+1)/2) {
			for _, i := range [2]int{far[k], far[len(far)-1-k]} {
				if !in[i] {
					in[i] = true
					active = append(active, i)
					taken++
				}
			}
		}
		return taken
	}
	take(start, firstActive)
	var s Solver
	var ax, ay, az []float64
	for {
		ax, ay, az = ax[:0], ay[:0], az[:0]
		for _, i := range active { // about the least-squares plane, so that no digits are lost
			ax, ay, az = append(ax, x[i]), append(ay, y[i]), append(az, z[i]-start.At-start.X*x[i]-start.Y*y[i])
		}
		at = s.plane(ax, ay, az)
		held := at.Height
		at.X, at.Y = at.X+start.X, at.Y+start.Y
		var low, high float64
		at.Height, low, high = spread(x, y, z, at)
		at.At = (low + high) / 2
		if at.Height <= held*(1+asGoodAs) || take(at, moreActive) == 0 {
			return at, true
		}
	}
}

// plane finds the zone of few points: for every slope along y the best one along x is known exactly, and the width that
// this leaves is convex in the slope along y.
func (s *Solver) plane(x, y, z []float64) Plane {
	s.sort(x)
	rest := make([]float64, len(z))
	width := func(c float64) (float64, float64) {
		for i := range z {
			rest[i] = z[i] - c*y[i]
		}
		r := about(x, rest, s.slope(x, rest))
		return r.Height, r.Slope
	}
	ylow, yhigh := math.Inf(1), math.Inf(-1)
	zlow, zhigh := math.Inf(1), math.Inf(-1)
	for i := range y {
		ylow, yhigh = math.Min(ylow, y[i]), math.Max(yhigh, y[i])
		zlow, zhigh = math.Min(zlow, z[i]), math.Max(zhigh, z[i])
	}
	reach := 2 * (zhigh - zlow) / math.Max(yhigh-ylow, 1e-300)
	lo, hi := -reach, reach
	for range 60 { // places nearly on one line may want a steeper plane
		l, _ := width(lo)
		m, _ := width((lo + hi) / 2)
		h, _ := width(hi)
		if l >= m && h >= m {
			break
		}
		lo, hi = 2*lo, 2*hi
	}
	// Golden section.
	const share = 0.6180339887498949
	a, b := hi-share*(hi-lo), lo+share*(hi-lo)
	wa, _ := width(a)
	wb, _ := width(b)
	for range 90 {
		if wa <= wb {
			hi, b, wb = b, a, wa
			a = hi - share*(hi-lo)
			wa, _ = width(a)
		} else {
			lo, a, wa = a, b, wb
			b = lo + share*(hi-lo)
			wb, _ = width(b)
		}
	}
	c := (lo + hi) / 2
	w, slope := width(c)
	return Plane{X: slope, Y: c, Height: w}
}
