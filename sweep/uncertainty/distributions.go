package uncertainty

import (
	"math"

	"gonum.org/v1/gonum/mathext"
)

// The distributions stand here on gonum's special functions, not on its package of distributions: that one brings all
// of gonum's linear algebra into the program, 1.5 MB that a small computer holds for years. A test compares the two.

// asGoodAsKnown is the number of degrees of freedom above which a t distribution is taken for a normal one.
const asGoodAsKnown = 1e6

// TCDF returns the probability that a t variate of unit scale is at most x. Fewer than one degree of freedom count as
// one; +Inf gives the normal distribution.
func TCDF(x, dof float64) float64 {
	switch {
	case math.IsInf(x, 1):
		return 1
	case math.IsInf(x, -1):
		return 0
	case x == 0:
		return 0.5
	case dof > asGoodAsKnown:
		return 0.5 * math.Erfc(-x/math.Sqrt2)
	}
	dof = math.Max(1, dof)
	tail := 0.5 * mathext.RegIncBeta(dof/2, 0.5, dof/(x*x+dof))
	if x > 0 {
		return 1 - tail
	}
	return tail
}

// TQuantile returns the x that a t variate of unit scale exceeds with probability 1-p, 0 < p < 1; degrees of freedom as
// for TCDF.
func TQuantile(p, dof float64) float64 {
	if dof > asGoodAsKnown {
		return -math.Sqrt2 * math.Erfcinv(2*p)
	}
	if p == 0.5 {
		return 0
	}
	dof = math.Max(1, dof)
	b := mathext.InvRegIncBeta(dof/2, 0.5, 2*math.Min(p, 1-p))
	return math.Copysign(math.Sqrt(dof*(1-b)/b), p-0.5)
}

// ChiSquaredQuantile returns the x that a chi-squared variate exceeds with probability 1-p, 0 < p < 1.
func ChiSquaredQuantile(p, dof float64) float64 {
	return 2 * mathext.GammaIncRegInv(dof/2, p)
}

// FQuantile returns the x that an F variate of the two degrees of freedom exceeds with probability 1-p, 0 < p < 1; the
// second may be infinite.
func FQuantile(p, dof1, dof2 float64) float64 {
	if dof2 > asGoodAsKnown {
		return ChiSquaredQuantile(p, dof1) / dof1
	}
	b := mathext.InvRegIncBeta(dof1/2, dof2/2, p)
	return b * dof2 / ((1 - b) * dof1)
}
