package advice

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"gonum.org/v1/gonum/mat"

	"tramd/sweep/uncertainty"
)

// The table against the distribution it stands for.
func TestTheTabulatedNormalIsTheNormal(t *testing.T) {
	for x := -9.0; x < 9; x += 0.00713 {
		if want := 0.5 * math.Erfc(-x/math.Sqrt2); math.Abs(phi(x)-want) > 8e-7 {
			t.Fatalf("phi(%v) = %v, want %v", x, phi(x), want)
		}
		if want := math.Exp(-x*x/2) / math.Sqrt(2*math.Pi); math.Abs(density(x)-want) > 8e-7 {
			t.Fatalf("density(%v) = %v, want %v", x, density(x), want)
		}
	}
	// JCGM 106:2012 clause 7: 0.9192 for a value 1.4 standard uncertainties inside its limit (the Zener diode).
	if p := phi(1.4); math.Abs(p-0.9192) > 5e-5 {
		t.Errorf("phi(1.4) = %v", p)
	}
}

// The chance of both axes being inside, against counting, and against the other integral of this project.
func TestTheChanceIsThatOfCounting(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 1))
	for range 60 {
		sx, sy, rho := 0.02+0.3*r.Float64(), 0.02+0.3*r.Float64(), 1.9*r.Float64()-0.95
		p := pair{x: 0.3 * r.NormFloat64(), y: 0.3 * r.NormFloat64(), xx: sx * sx, xy: rho * sx * sy, yy: sy * sy}
		const n, limit = 40000, 0.25
		in := 0
		for range n {
			a, b := r.NormFloat64(), r.NormFloat64()
			if math.Abs(p.x+sx*a) <= limit && math.Abs(p.y+sy*(rho*a+math.Sqrt(1-rho*rho)*b)) <= limit {
				in++
			}
		}
		got, counted := p.inside(limit), float64(in)/n
		if math.Abs(got-counted) > 4*math.Sqrt(0.25/n) {
			t.Errorf("%+v: %v, counted %v", p, got, counted)
		}
		known := [2]float64{math.Inf(1), math.Inf(1)}
		belief := uncertainty.Mixture{{Weight: 1, Mean: [2]float64{p.x, p.y}, Cov: [3]float64{p.xx, p.xy, p.yy},
			DoF: known}}
		if other := belief.InsideBoth(limit); math.Abs(got-other) > 2e-3 {
			t.Errorf("%+v: %v, the other integral %v", p, got, other)
		}
	}
}

// Moving and measuring are the textbook's matrices: F P F' + Q, and P - P H'(H P H' + R)^-1 H P, both axes at once.
func TestTheFilterIsTheTextbooks(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 5))
	const n, d = 3, 8
	g := newGaussian(d)
	a := mat.NewDense(d, d, nil)
	for i := range d {
		g.mean[i] = r.NormFloat64()
		for k := range d {
			a.Set(i, k, r.NormFloat64())
		}
	}
	var p mat.Dense
	p.Mul(a, a.T())
	copy(g.cov, p.RawMatrix().Data)
	mean := mat.NewVecDense(d, append([]float64(nil), g.mean...))

	m := []float64{0.7, 0, -1.3}
	f := mat.NewDense(d, d, nil)
	for i := range d {
		f.Set(i, i, 1)
	}
	for j, v := range m {
		f.Set(0, 2+2*j, v)
		f.Set(1, 3+2*j, v)
	}
	foretold := g.after(m)
	g.move(m, 0.09)
	var moved mat.VecDense
	moved.MulVec(f, mean)
	p.Mul(f, &p)
	p.Mul(&p, f.T())
	if math.Abs(foretold.xx-p.At(0, 0)) > 1e-9 || math.Abs(foretold.xy-p.At(0, 1)) > 1e-9 ||
		math.Abs(foretold.yy-p.At(1, 1)) > 1e-9 {
		t.Errorf("foretold %+v, want %v", foretold, mat.Formatted(p.Slice(0, 2, 0, 2)))
	}
	p.Set(0, 0, p.At(0, 0)+0.09)
	p.Set(1, 1, p.At(1, 1)+0.09)

	const u = 0.4
	y := [2]float64{0.3, -0.8}
	logp := g.measure(0, y[0], u) + g.measure(1, y[1], u)
	h := p.Slice(0, d, 0, 2)
	var s, si, gain, drop mat.Dense
	s.CloneFrom(p.Slice(0, 2, 0, 2))
	s.Set(0, 0, s.At(0, 0)+u*u)
	s.Set(1, 1, s.At(1, 1)+u*u)
	if err := si.Inverse(&s); err != nil {
		t.Fatal(err)
	}
	gain.Mul(h, &si)
	drop.Mul(&gain, h.T())
	nu := mat.NewVecDense(2, []float64{y[0] - moved.AtVec(0), y[1] - moved.AtVec(1)})
	var shift, sn mat.VecDense
	shift.MulVec(&gain, nu)
	sn.MulVec(&si, nu)
	for i := range d {
		if want := moved.AtVec(i) + shift.AtVec(i); math.Abs(g.mean[i]-want) > 1e-9 {
			t.Errorf("mean %d: %v, want %v", i, g.mean[i], want)
		}
		for k := range d {
			if want := p.At(i, k) - drop.At(i, k); math.Abs(g.cov[i*d+k]-want) > 1e-8 {
				t.Errorf("covariance %d,%d: %v, want %v", i, k, g.cov[i*d+k], want)
			}
		}
	}
	if want := -0.5 * (mat.Dot(nu, &sn) + math.Log(mat.Det(&s)) + 2*math.Log(2*math.Pi)); math.Abs(logp-want) > 1e-9 {
		t.Errorf("likelihood %v, want %v", logp, want)
	}
}

func TestStacksAreTheSumsOfThePiecesOnHand(t *testing.T) {
	for _, tc := range []struct {
		name   string
		stock  []float64
		packed float64
		want   []float64
	}{
		{"one piece", []float64{0.1}, 0, []float64{-0.1, 0, 0.1}},
		{"a piece twice", []float64{0.1, 0.1}, 0, []float64{-0.2, -0.1, 0, 0.1, 0.2}},
		{"what is packed comes out again", []float64{0.1, 0.25}, 0.1,
			[]float64{-0.45, -0.35, -0.2, -0.1, 0, 0.15, 0.25}},
		{"four at most", []float64{1, 2, 4, 8, 16}, -30, nil},
	} {
		if tc.name == "four at most" { // by counting subsets
			tc.want = []float64{0}
			for mask := range 1 << len(tc.stock) {
				sum, n := 0.0, 0
				for i, s := range tc.stock {
					if mask>>i&1 == 1 {
						sum += s
						n++
					}
				}
				if n <= 4 {
					tc.want = append(tc.want, sum-tc.packed, -sum-tc.packed)
				}
			}
			slices.Sort(tc.want)
			tc.want = slices.Compact(tc.want)
		}
		if got := stacks(tc.stock, tc.packed); !slices.Equal(got, tc.want) {
			t.Errorf("%s: %v, want %v", tc.name, got, tc.want)
		}
	}
}
