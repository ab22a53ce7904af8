package uncertainty

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"
)

// The reference is gonum's package of distributions (gonum.org/v1/gonum/stat/distuv).
func TestDistributionsAgreeWithTheLibrary(t *testing.T) {
	near := func(what string, got, want, p, dof float64) {
		t.Helper()
		if !(math.Abs(got-want) <= 1e-9*math.Max(1, math.Abs(want))) {
			t.Errorf("%s at %g with %g degrees of freedom: %v, the library has %v", what, p, dof, got, want)
		}
	}
	for _, p := range []float64{1e-6, 0.001, 0.025, 0.3, 0.5, 0.6, 0.975, 0.999, 1 - 1e-6} {
		near("normal quantile", TQuantile(p, math.Inf(1)), distuv.UnitNormal.Quantile(p), p, math.Inf(1))
		for _, dof := range []float64{1, 1.5, 2, 3, 7.25, 30, 400} {
			d := distuv.StudentsT{Sigma: 1, Nu: dof}
			x := d.Quantile(p)
			near("t quantile", TQuantile(p, dof), x, p, dof)
			near("t probability", TCDF(x, dof), d.CDF(x), x, dof)
			near("normal probability", TCDF(x, math.Inf(1)), distuv.UnitNormal.CDF(x), x, dof)
			near("chi-squared quantile", ChiSquaredQuantile(p, dof), distuv.ChiSquared{K: dof}.Quantile(p), p, dof)
			for _, under := range []float64{1, 2.5, 40} {
				near("F quantile", FQuantile(p, dof, under), distuv.F{D1: dof, D2: under}.Quantile(p), p, dof)
			}
			near("F quantile", FQuantile(p, dof, math.Inf(1)), distuv.ChiSquared{K: dof}.Quantile(p)/dof, p, dof)
		}
	}
	if TQuantile(0.9, 0.2) != TQuantile(0.9, 1) || TCDF(2, 0.2) != TCDF(2, 1) {
		t.Error("fewer than one degree of freedom do not count as one")
	}
	if TCDF(math.Inf(1), 3) != 1 || TCDF(math.Inf(-1), 3) != 0 {
		t.Error("the probability of all, and of nothing, is not 1 and 0")
	}
}
