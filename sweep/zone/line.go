package zone

import (
	"math"
	"slices"
)

// Reference is a straight line z = At + Slope x and the distance between the highest and the lowest point about it.
type Reference struct{ Slope, At, Height float64 }

// about completes a reference of known slope: At is the middle between the extremes.
func about(x, z []float64, slope float64) Reference {
	low, high := math.Inf(1), math.Inf(-1)
	for i, v := range z {
		d := v - slope*x[i]
		low, high = math.Min(low, d), math.Max(high, d)
	}
	return Reference{slope, (low + high) / 2, high - low}
}

// LeastSquares returns the least-squares line. All x alike give a level line.
func LeastSquares(x, z []float64) Reference {
	var mx, mz float64
	n := float64(len(x))
	for i := range x {
		mx += x[i] / n
		mz += z[i] / n
	}
	var xx, xz float64
	for i := range x {
		d := x[i] - mx
		xx += d * d
		xz += d * (z[i] - mz)
	}
	slope := 0.0
	if xx > 0 {
		slope = xz / xx
	}
	r := about(x, z, slope)
	r.At = mz - slope*mx
	return r
}

// EndPoints returns the line through the points with the smallest and the largest x.
func EndPoints(x, z []float64) Reference {
	if len(x) == 0 {
		return Reference{}
	}
	first, last := 0, 0
	for i := range x {
		if x[i] < x[first] {
			first = i
		}
		if x[i] > x[last] {
			last = i
		}
	}
	slope := 0.0
	if x[last] > x[first] {
		slope = (z[last] - z[first]) / (x[last] - x[first])
	}
	r := about(x, z, slope)
	r.At = z[first] - slope*x[first]
	return r
}

// Solver finds minimum zones again and again without asking for memory each time. The zero value is fine.
type Solver struct {
	order, upper, lower []int
}

// Line finds the minimum zone of a line. The width as a function of the slope is convex and has its corners at the
// slopes of the hull's sides, so walking the two chains towards each other until the highest point no longer lies right
// of the lowest finds it.
func (s *Solver) Line(x, z []float64) Reference {
	if len(x) == 0 {
		return Reference{}
	}
	s.sort(x)
	return about(x, z, s.slope(x, z))
}

func (s *Solver) sort(x []float64) {
	s.order = s.order[:0]
	rising := true
	for i := range x {
		s.order = append(s.order, i)
		rising = rising && (i == 0 || x[i] >= x[i-1])
	}
	if !rising {
		slices.SortFunc(s.order, func(a, b int) int {
			switch {
			case x[a] < x[b]:
				return -1
			case x[a] > x[b]:
				return 1
			}
			return a - b
		})
	}
}

func (s *Solver) slope(x, z []float64) float64 {
	s.upper, s.lower = s.upper[:0], s.lower[:0]
	for _, i := range s.order {
		s.upper = push(s.upper, x, z, i, 1)
		s.lower = push(s.lower, x, z, i, -1)
	}
	side := func(a, b int) float64 { return (z[b] - z[a]) / (x[b] - x[a]) }
	i, j, slope := len(s.upper)-1, 0, 0.0
	for x[s.upper[i]] > x[s.lower[j]] {
		up, low := math.Inf(1), math.Inf(1)
		if i > 0 {
			up = side(s.upper[i-1], s.upper[i])
		}
		if j+1 < len(s.lower) {
			low = side(s.lower[j], s.lower[j+1])
		}
		switch {
		case math.IsInf(up, 1) && math.IsInf(low, 1):
			return slope
		case up < low:
			slope = up
			i--
		default:
			slope = low
			j++
		}
	}
	return slope
}

// push adds a point to the upper (sense 1) or lower (-1) chain of the hull; points come with rising x.
func push(chain []int, x, z []float64, i int, sense float64) []int {
	if n := len(chain); n > 0 && x[chain[n-1]] == x[i] {
		if sense*(z[i]-z[chain[n-1]]) <= 0 {
			return chain
		}
		chain = chain[:n-1]
	}
	for n := len(chain); n >= 2; n = len(chain) {
		a, b := chain[n-2], chain[n-1]
		if sense*((z[b]-z[a])*(x[i]-x[a])-(z[i]-z[a])*(x[b]-x[a])) > 0 {
			break
		}
		chain = chain[:n-1]
	}
	return append(chain, i)
}
