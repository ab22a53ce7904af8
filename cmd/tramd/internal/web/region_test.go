package web

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"

	"tramd/sweep"
	"tramd/sweep/units"
)

// The closed form against two outsiders: the table of the upper critical values of the F distribution at 5 %, 2 degrees
// of freedom in the numerator (NIST/SEMATECH e-Handbook, 1.3.6.7.3; figures from memory), and gonum's own quantile.
func TestJointFactor(t *testing.T) {
	for dof, f := range map[float64]float64{1: 199.5, 2: 19.000, 5: 5.786, 10: 4.103, 20: 3.493, 60: 3.150} {
		if got := jointFactor(dof) * jointFactor(dof) / 2; math.Abs(got-f) > 6e-4*f {
			t.Errorf("F(2, %v) at 95 %%: got %.4f, table %.3f", dof, got, f)
		}
	}
	for _, dof := range []float64{0.7, 1, 3, 8.5, 38, 400, 1e5} {
		want := distuv.F{D1: 2, D2: dof}.Quantile(0.95)
		if got := jointFactor(dof) * jointFactor(dof) / 2; math.Abs(got-want) > 1e-6*want {
			t.Errorf("F(2, %v) at 95 %%: got %v, gonum %v", dof, got, want)
		}
	}
	want := math.Sqrt(distuv.ChiSquared{K: 2}.Quantile(0.95))
	for _, dof := range []float64{math.NaN(), math.Inf(1), 0, -1, 1e7} {
		if got := jointFactor(dof); math.Abs(got-want) > 1e-6 {
			t.Errorf("dof %v: got %v, want %v", dof, got, want)
		}
	}
}

// The region is worth its name only if it covers: draw leans about a truth, with a scatter estimated from few degrees
// of freedom as a fit would, and count how often the drawn ellipse holds the truth.
func TestRegionCovers(t *testing.T) {
	const (
		trials = 20000
		dof    = 6
	)
	rng := rand.New(rand.NewPCG(3, 14))
	const su, sv, rho = 4e-6, 9e-6, -0.6
	held := 0
	for range trials {
		a, b := rng.NormFloat64(), rng.NormFloat64()
		du, dv := su*a, sv*(rho*a+math.Sqrt(1-rho*rho)*b)
		var chi float64
		for range dof {
			g := rng.NormFloat64()
			chi += g * g
		}
		k := chi / dof // estimated variance over the true one
		r := &sweep.Result{
			Tilt: &sweep.Axis{Slope: units.Slope(1e-4 + du)}, Nod: &sweep.Axis{Slope: units.Slope(-2e-4 + dv)},
			DoF:        dof,
			Covariance: [2][2]float64{{k * su * su, k * rho * su * sv}, {k * rho * su * sv, k * sv * sv}},
		}
		e := regionOf(r)
		s, c := math.Sincos(sweep.Radians(e.TurnDeg))
		x, y := -du*1e3, -dv*1e3
		along, across := (x*c+y*s)/e.MajorMMPerM, (y*c-x*s)/e.MinorMMPerM
		if along*along+across*across <= 1 {
			held++
		}
	}
	// Binomial standard deviation is 0.0015; four of them.
	if got := float64(held) / trials; math.Abs(got-0.95) > 0.0062 {
		t.Errorf("the 95 %% region covers %.4f", got)
	}
}

func TestRegionWithoutCovariance(t *testing.T) {
	r := &sweep.Result{Tilt: &sweep.Axis{U: 2e-6}, Nod: &sweep.Axis{U: 5e-6}, DoF: math.NaN()}
	e := regionOf(r)
	k := math.Sqrt(-2 * math.Log(0.05))
	if math.Abs(e.MajorMMPerM-5e-3*k) > 1e-9 || math.Abs(e.MinorMMPerM-2e-3*k) > 1e-9 ||
		math.Abs(math.Abs(e.TurnDeg)-90) > 1e-9 {
		t.Errorf("got %+v", e)
	}
	r.Nod = nil
	if regionOf(r) != nil {
		t.Error("one axis has no region")
	}
}
