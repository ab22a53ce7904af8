package uncertainty

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"
	"pgregory.net/rapid"
)

// mixtureOf draws a mixture of a few terms.
func mixtureOf(t *rapid.T) Mixture {
	n := rapid.IntRange(1, 6).Draw(t, "terms")
	var m Mixture
	var total float64
	for range n {
		a, b := rapid.Float64Range(1e-3, 2).Draw(t, "a"), rapid.Float64Range(1e-3, 2).Draw(t, "b")
		rho := rapid.Float64Range(-0.99, 0.99).Draw(t, "rho")
		dof := rapid.SampledFrom([]float64{1, 1.7, 3, 8, 40, 500, math.Inf(1)}).Draw(t, "dof")
		w := rapid.Float64Range(0.01, 1).Draw(t, "weight")
		total += w
		m = append(m, Term{Weight: w, DoF: [2]float64{dof, dof}, Cov: [3]float64{a * a, rho * a * b, b * b},
			Mean: [2]float64{rapid.Float64Range(-2, 2).Draw(t, "x"), rapid.Float64Range(-2, 2).Draw(t, "y")}})
	}
	for i := range m {
		m[i].Weight /= total
	}
	return m
}

// Both within the limit is never likelier than either alone, nor less likely than the two leave room for (Bonferroni);
// the interval holds the share that was asked for; adding a part never narrows it.
func TestMixtureHoldsTogether(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := mixtureOf(t)
		limit := rapid.Float64Range(0.01, 5).Draw(t, "limit")
		x, y, both := m.Inside(0, -limit, limit), m.Inside(1, -limit, limit), m.InsideBoth(limit)
		if both > math.Min(x, y) || both < x+y-1-1e-4 || both < -1e-12 {
			t.Fatalf("x %v, y %v, both %v", x, y, both)
		}
		mean := m.Mean()
		more := m.With([3]float64{0.5, 0.1, 0.3})
		for i := range 2 {
			h := m.HalfWidth(i, 0.95)
			if p := m.Inside(i, mean[i]-h, mean[i]+h); math.Abs(p-0.95) > 1e-5 {
				t.Fatalf("the interval ±%v of value %d holds %v", h, i, p)
			}
			if wide := more.HalfWidth(i, 0.95); len(m) == 1 && wide < 0.999*h {
				t.Fatalf("with one more part the interval shrinks from %v to %v", h, wide)
			}
			if d := m.Freedom(i); !(d >= 1) {
				t.Fatalf("%v degrees of freedom", d)
			}
		}
	})
}

// One term is a t distribution, whose interval and degrees of freedom are known in closed form.
func TestMixtureOfOne(t *testing.T) {
	for _, dof := range []float64{1, 2.5, 6, 30, 400} {
		m := Mixture{{Weight: 1, Mean: [2]float64{3, -1}, Cov: [3]float64{4, 0.5, 9}, DoF: [2]float64{dof, dof}}}
		near(t, "half width", m.HalfWidth(1, 0.95), 3*Factor(0.95, dof), 1e-5*Factor(0.95, dof))
		near(t, "degrees of freedom", m.Freedom(0), dof, 1e-6*dof)
	}
	known := Mixture{{Weight: 1, Cov: [3]float64{1, 0, 1}, DoF: [2]float64{math.Inf(1), math.Inf(1)}}}
	near(t, "of a normal", known.HalfWidth(0, 0.95), 1.959964, 1e-5)
	both := Mixture{{Weight: 1, Cov: [3]float64{1, 0, 1}, DoF: [2]float64{5, 5}}}.With([3]float64{1, 0, 1})
	near(t, "half known", both.HalfWidth(0, 0.95), math.Hypot(Factor(0.95, 5), 1.959964), 0.002)
}

// The interval is sought between bounds that a table gives.
func TestFactorsOfTheTable(t *testing.T) {
	for dof := 1.0; dof < 1e7; dof *= 1.003 {
		near(t, "factor", factorNear(0.95, dof)/Factor(0.95, dof), 1, 0.9*(bracket-1))
	}
}

// A t variate and a normal one added, against counting.
func TestMixtureWithAgainstCounting(t *testing.T) {
	r := rand.New(rand.NewPCG(6, 2))
	for _, c := range []struct{ dof, part float64 }{{1, 1}, {2, 3}, {4, 1}, {8, 0.5}, {30, 2}} {
		half := Mixture{{Weight: 1, Cov: [3]float64{1, 0, 1}, DoF: [2]float64{c.dof, c.dof}}}.With(
			[3]float64{c.part * c.part, 0, 0}).HalfWidth(0, 0.95)
		const draws = 400_000
		in := 0
		for range draws {
			x := r.NormFloat64()/math.Sqrt(distuv.ChiSquared{K: c.dof, Src: r}.Rand()/c.dof) + c.part*r.NormFloat64()
			if math.Abs(x) <= half {
				in++
			}
		}
		near(t, "share held", float64(in)/draws, 0.95, 0.004)
	}
}

// The covariance of terms whose means differ, against that of draws by a general-purpose library (gonum): the spread of the
// means counts, and with its sign.
func TestMixtureCovarianceAgainstCounting(t *testing.T) {
	r := rand.New(rand.NewPCG(8, 3))
	none := math.Inf(1)
	m := Mixture{
		{Weight: 0.7, Mean: [2]float64{1, -2}, Cov: [3]float64{1, 0.3, 0.5}, DoF: [2]float64{none, none}},
		{Weight: 0.3, Mean: [2]float64{-2, 1}, Cov: [3]float64{0.4, -0.1, 2}, DoF: [2]float64{none, none}},
	}
	const draws = 400_000
	x, y := make([]float64, draws), make([]float64, draws)
	for i := range draws {
		term := m[0]
		if r.Float64() > m[0].Weight {
			term = m[1]
		}
		a, b := r.NormFloat64(), r.NormFloat64()
		sd := math.Sqrt(term.Cov[0])
		x[i] = term.Mean[0] + sd*a
		y[i] = term.Mean[1] + term.Cov[1]/sd*a + math.Sqrt(term.Cov[2]-term.Cov[1]*term.Cov[1]/term.Cov[0])*b
	}
	got := m.Covariance()
	near(t, "variance of the first", got[0], stat.Variance(x, nil), 0.02)
	near(t, "covariance", got[1], stat.Covariance(x, y, nil), 0.02)
	near(t, "variance of the second", got[2], stat.Variance(y, nil), 0.02)
}

// The probability of both against counting draws of a bivariate t distribution (a normal over the root of a chi-squared
// over its degrees of freedom).
func TestMixtureInsideBothAgainstCounting(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 11))
	for _, c := range []struct{ x, y, a, b, rho, dof, limit float64 }{
		{0.3, -0.2, 0.5, 0.4, 0.7, 3, 1}, {0.9, 0.9, 0.2, 0.3, -0.8, 1.5, 1}, {0, 0, 1, 1, 0, 1, 1},
		{0.2, 0.7, 0.3, 0.1, 0.3, 12, 1},
		{2, 0, 0.4, 0.4, 0.5, 5, 1}, {0.1, 0.1, 0.01, 0.2, 0.2, 4, 1}, {0.5, 0.4, 0.3, 0.2, -0.3, math.Inf(1), 1},
	} {
		m := Mixture{{Weight: 1, Mean: [2]float64{c.x, c.y}, Cov: [3]float64{c.a * c.a, c.rho * c.a * c.b, c.b * c.b},
			DoF: [2]float64{c.dof, c.dof}}}
		const draws = 400_000
		in := 0
		for range draws {
			scale := 1.0
			if !math.IsInf(c.dof, 1) {
				scale = math.Sqrt(c.dof / distuv.ChiSquared{K: c.dof, Src: r}.Rand())
			}
			p, q := r.NormFloat64(), r.NormFloat64()
			x := c.x + c.a*scale*p
			y := c.y + c.b*scale*(c.rho*p+math.Sqrt(1-c.rho*c.rho)*q)
			if math.Abs(x) <= c.limit && math.Abs(y) <= c.limit {
				in++
			}
		}
		near(t, "both inside", m.InsideBoth(c.limit), float64(in)/draws, 0.003)
	}
}
