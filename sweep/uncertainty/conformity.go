package uncertainty

import "math"

// Inside is the probability that the true value lies between lower and upper (either may be infinite), given the
// measured value, its standard uncertainty and the degrees of freedom behind it (JCGM 106:2012, 7.2 and 7.3, there with
// infinite degrees of freedom).
func Inside(value, u, dof, lower, upper float64) float64 {
	if !(u > 0) {
		if lower <= value && value <= upper {
			return 1
		}
		return 0
	}
	return TCDF((upper-value)/u, dof) - TCDF((lower-value)/u, dof)
}

// InsideBoth is the probability that two values, jointly normal with the given correlation, both lie within limit of
// zero.
func InsideBoth(x, ux, y, uy, correlation, limit float64) float64 {
	rest := math.Sqrt(math.Max(0, 1-correlation*correlation))
	if !(ux > 0) || !(uy > 0) || rest < 1e-6 {
		return math.Min(Inside(x, ux, math.Inf(1), -limit, limit), Inside(y, uy, math.Inf(1), -limit, limit))
	}
	// Over x by the midpoint rule between the limits, over y in closed form given x.
	lo, hi := math.Max(-limit, x-8*ux), math.Min(limit, x+8*ux)
	if lo >= hi {
		return 0
	}
	const steps = 400
	h := (hi - lo) / steps
	var sum float64
	for i := range steps {
		e := (lo + (float64(i)+0.5)*h - x) / ux
		sum += math.Exp(-e*e/2) * Inside(y+correlation*uy*e, uy*rest, math.Inf(1), -limit, limit)
	}
	return math.Min(1, sum*h/(ux*math.Sqrt(2*math.Pi)))
}

// Decision is what may be said about a tolerance.
type Decision int

// Decisions. Straddles means that the value and its uncertainty prove neither.
const (
	Straddles Decision = iota
	Conforms
	Exceeds
)

// Decide applies a guard band as wide as the expanded uncertainty on both sides of a symmetric limit: conformity is
// proved within limit minus expanded, its contrary outside limit plus expanded (ISO 14253-1:2013, 5.2 and 5.3; JCGM
// 106:2012, 8.3).
func Decide(value, expanded, limit float64) Decision {
	switch a := math.Abs(value); {
	case a+expanded <= limit:
		return Conforms
	case a-expanded > limit:
		return Exceeds
	}
	return Straddles
}
