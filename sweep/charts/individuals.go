package charts

import "math"

// d2 turns the mean range of two into a standard deviation (n = 2; ASTM MNL 7, from memory; 2/sqrt(pi)).
const d2 = 1.128

// Limits are the centre of a control chart and its limits.
type Limits struct{ Centre, Lower, Upper float64 }

// Individuals returns the limits of an individuals chart: the mean, and 3 mean moving ranges over d2 to either side.
// There must be two figures at least; fewer give NaN.
func Individuals(x []float64) Limits {
	if len(x) < 2 {
		return Limits{math.NaN(), math.NaN(), math.NaN()}
	}
	var sum, moving float64
	for i, v := range x {
		sum += v
		if i > 0 {
			moving += math.Abs(v - x[i-1])
		}
	}
	mean := sum / float64(len(x))
	half := 3 * moving / float64(len(x)-1) / d2
	return Limits{mean, mean - half, mean + half}
}

// EWMA returns the exponentially weighted moving average of x after each figure, from a start: z = lambda*x +
// (1-lambda)*z.
func EWMA(x []float64, lambda, start float64) []float64 {
	out := make([]float64, len(x))
	z := start
	for i, v := range x {
		z = lambda*v + (1-lambda)*z
		out[i] = z
	}
	return out
}

// EWMALimits returns the limits after n figures of standard deviation s, k of the average's own to either side of the
// centre; n < 0 gives those it tends to.
func EWMALimits(centre, s, lambda, k float64, n int) Limits {
	v := lambda / (2 - lambda)
	if n >= 0 {
		v *= 1 - math.Pow(1-lambda, 2*float64(n))
	}
	half := k * s * math.Sqrt(v)
	return Limits{centre, centre - half, centre + half}
}
