package mixed

import (
	"math"
	"math/rand/v2"
	"testing"

	"tramd/sweep"
)

// The filter agrees with the dense covariance of the same noise: the innovations' sum of squares is z' C^-1 z and their
// variances multiply to det C, where C is written from the covariance functions alone.
func TestFilterAgreesWithDenseCovariance(t *testing.T) {
	const variance, hertz, quality = 3.0, 0.8, 1.7
	w0 := 2 * math.Pi * hertz
	a := w0 / (2 * quality)
	w := math.Sqrt(w0*w0 - a*a)
	exponential := func(v, tau float64) func(float64) float64 {
		return func(dt float64) float64 { return v * math.Exp(-dt/tau) }
	}
	ringing := func(dt float64) float64 {
		return variance * math.Exp(-a*dt) * (math.Cos(w*dt) - a/w*math.Sin(w*dt))
	}
	for _, c := range []struct {
		name string
		nz   noise
		cov  []func(float64) float64
	}{
		{"a band", noise{band: band{variance, hertz, quality}}, []func(float64) float64{ringing}},
		{"a band and slow noise", noise{slow: 2, tau: []float64{1.5}, band: band{variance, hertz, quality}},
			[]func(float64) float64{ringing, exponential(2, 1.5)}},
		{"a band, 1/f and steps", noise{slow: 2, tau: []float64{0.5, 4}, steps: steps{0.7, 0.3},
			band: band{variance, hertz, quality}},
			[]func(float64) float64{ringing, exponential(1, 0.5), exponential(1, 4), exponential(0.7, 0.3)}},
	} {
		r := rand.New(rand.NewPCG(4, 9))
		const n = 30
		var at, white, z [n]float64
		for i := range n {
			if i > 0 {
				at[i] = at[i-1] + 0.02 + 0.4*r.Float64()
			}
			white[i], z[i] = 0.3+r.Float64(), r.NormFloat64()
		}
		dense := newSym(n + 1)
		for i := range n {
			for j := range i + 1 {
				for _, f := range c.cov {
					dense.row(i)[j] += f(at[i] - at[j])
				}
			}
			dense.row(i)[i] += white[i]
			dense.row(n)[i] = z[i]
		}
		dense.row(n)[n] = 1e6 // large enough to stay positive: the last pivot is it less z' C^-1 z
		if lost := dense.cholesky(); lost > 0 {
			t.Fatalf("%s: the covariance is not positive definite", c.name)
		}
		wantSquare, wantDet := 0.0, 0.0
		for i := range n {
			wantSquare += sq(dense.row(n)[i])
			wantDet += 2 * math.Log(dense.row(i)[i])
		}
		k := newKalman(c.nz, 1)
		square, det := 0.0, 0.0
		var out [1]float64
		for i := range n {
			if i == 0 {
				k.begin()
			} else {
				k.wait(at[i] - at[i-1])
			}
			det += math.Log(k.read(z[i:i+1], white[i], out[:]))
			square += sq(out[0])
		}
		if math.Abs(square-wantSquare) > 1e-9*wantSquare || math.Abs(det-wantDet) > 1e-9*math.Abs(wantDet) {
			t.Errorf("%s: sum of squares %.12g, want %.12g; log determinant %.12g, want %.12g", c.name, square,
				wantSquare, det, wantDet)
		}
	}
}

// shaken is one turn and a tenth in 12 seconds with noise between 1 and 3 Hz of the given standard deviation in mm.
func shaken(seed uint64, sd float64) []sweep.Point {
	r := rand.New(rand.NewPCG(seed, 31))
	air := colored(r, sd, 0, 1, 3)
	pts := make([]sweep.Point, 600)
	for i := range pts {
		u := float64(i) / float64(len(pts))
		th := 2.2 * math.Pi * u
		z := 0.02*math.Cos(th) - 0.01*math.Sin(th) + air(12*u) + 0.0008*r.NormFloat64()
		pts[i] = sweep.Point{T: 12 * u, Angle: th, Reading: math.Round(z/0.001) * 0.001}
	}
	return pts
}

// Noise within a band costs little once it is known: the interval stays near what the sweep without it has, and holds
// the truth.
func TestBand(t *testing.T) {
	t.Parallel()
	const radius, tilt, nod = 100, 0.2, -0.1 // mm, mm/m
	calm, err := Fit(shaken(1, 0), oneArm(radius))
	if err != nil {
		t.Fatal(err)
	}
	held, n := 0, 0
	for seed := range uint64(4) {
		pts := shaken(seed, 0.004)
		if f := fittingOf(t, pts, oneArm(radius)); f.band.variance == 0 || f.band.hertz < 0.8 || f.band.hertz > 3 {
			t.Errorf("seed %d: found %+v", seed, f.band)
		}
		r, err := Fit(pts, oneArm(radius))
		if err != nil {
			t.Fatal(err)
		}
		for _, a := range []struct {
			axis  *sweep.Axis
			truth float64
		}{{r.Tilt, tilt}, {r.Nod, nod}} {
			n++
			if math.Abs(a.axis.Slope.MMPerM()-a.truth) <= a.axis.Expanded.MMPerM() {
				held++
			}
			if half, most := a.axis.Expanded.MMPerM(), 4*calm.Tilt.Expanded.MMPerM(); half > most {
				t.Errorf("seed %d: expanded %.4f mm/m, want %.4f at most", seed, half, most)
			}
		}
	}
	if held < n-2 { // fewer of eight come of intervals that hold the truth in 95 % once in two hundred
		t.Errorf("the interval held the truth in %d of %d", held, n)
	}
}

// Slow noise, a walk and a smooth table are no band: taken for one, they would make the interval too short.
func TestNoBand(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(5, 1))
	for _, f := range append(families(), unseen()...) {
		switch f.name {
		case "slow noise", "random walk", "wander, one turn", "1/f", "white only", "splined table", "form":
			for range 2 {
				tr := f.draw(r)
				if b := fittingOf(t, tr.pts, tr.setup).band; b.variance > 0 {
					t.Errorf("%s: found %+v", f.name, b)
				}
			}
		}
	}
}
