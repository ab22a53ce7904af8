package mixed

import (
	"math"
	"math/rand/v2"
	"sort"
	"testing"

	"tramd/sweep"
)

// Angles that come unevenly late by a tenth of a second make the noise model sure of a wrong lean, and after a rest a
// wave in time looks like the lean: both must be told, and the interval must be wide enough. By hundredths of a second
// nothing is wrong.
func TestAnglesUnevenlyLate(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		sd, rest float64
		seeds    uint64
		told     bool
		held     int // of two for each seed
	}{{0.03, 4.6, 3, false, 5}, {0.1, 0, 6, true, 11}, {0.1, 4.6, 6, true, 10}} {
		told, held := 0, 0
		for seed := range c.seeds {
			r := rand.New(rand.NewPCG(seed, 78))
			tilt, nod := r.Float64()-0.5, r.Float64()-0.5
			res, err := Fit(tagsLate(seed, c.sd, tilt, nod, c.rest), oneArm(120))
			if err != nil {
				t.Fatal(err)
			}
			if warned(res, WarnUneven) {
				told++
			}
			for _, w := range res.Waves {
				t.Errorf("late by %v s, rest %v s, seed %d: a wave of %.3f Hz was taken out", c.sd, c.rest,
					seed, w.Hertz)
			}
			for _, x := range []struct {
				a     *sweep.Axis
				truth float64
			}{{res.Tilt, tilt}, {res.Nod, nod}} {
				e, half := math.Abs(x.a.Slope.MMPerM()-x.truth), x.a.Expanded.MMPerM()
				if e <= half {
					held++
				}
				if e > 3*half {
					t.Errorf("late by %v s, rest %v s, seed %d: off by %.3f mm/m, expanded %.3f", c.sd, c.rest,
						seed, e, half)
				}
			}
		}
		if c.told && told < int(c.seeds)/2 || !c.told && told > 0 || held < c.held {
			t.Errorf("late by %v s, rest %v s: told in %d of %d sweeps, %d of %d intervals held the truth", c.sd,
				c.rest, told, c.seeds, held, 2*c.seeds)
		}
	}
}

// The running sums give what the sum over all pairs of blocks gives.
func TestNoiseOfASum(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 5))
	f := &fitting{}
	var parts [2][]float64
	for i := range 40 {
		f.bs = append(f.bs, block{track: i / 20, t: float64(i%20) + r.Float64(), noise: 0.5 + r.Float64()})
		parts[0], parts[1] = append(parts[0], r.NormFloat64()), append(parts[1], r.NormFloat64())
	}
	nz := noise{slow: 3, tau: []float64{0.5, 4, 30}, steps: steps{0.7, 2}, band: band{1.3, 0.2, 2}}
	w0 := 2 * math.Pi * nz.band.hertz
	fall := w0 / (2 * nz.band.quality)
	w := math.Sqrt(w0*w0 - fall*fall)
	var want [3]float64
	for i, a := range f.bs {
		for j, b := range f.bs {
			v := 0.0
			if i == j {
				v = a.noise
			}
			if a.track == b.track {
				dt := math.Abs(a.t - b.t)
				for _, tau := range nz.tau {
					v += nz.slow / 3 * math.Exp(-dt/tau)
				}
				v += nz.steps.variance * math.Exp(-dt/nz.steps.tau)
				v += nz.band.variance * math.Exp(-fall*dt) * (math.Cos(w*dt) - fall/w*math.Sin(w*dt))
			}
			want[0] += v * parts[0][i] * parts[0][j]
			want[1] += v * parts[0][i] * parts[1][j]
			want[2] += v * parts[1][i] * parts[1][j]
		}
	}
	got := f.ofNoise(nz, parts)
	for k := range got {
		if math.Abs(got[k]-want[k]) > 1e-9*math.Abs(want[0]) {
			t.Errorf("element %d: %v, by pairs %v", k, got[k], want[k])
		}
	}
}

// A wave goes with the turning where it is one of a turn, there and back as well, and not where it is a turn's second
// harmonic or where it gains a cycle over the sweep.
func TestWaveOfATurn(t *testing.T) {
	for _, c := range []struct {
		name   string
		at     func(t float64) float64 // turns; the sweep takes 20 s
		hertz  float64
		turned bool
	}{
		{"one turn", func(t float64) float64 { return t / 20 }, 0.05, true},
		{"one turn, twice as fast", func(t float64) float64 { return t / 20 }, 0.1, false},
		{"two turns", func(t float64) float64 { return t / 10 }, 0.1, true},
		{"two turns, half a cycle more", func(t float64) float64 { return t / 10 }, 0.125, true},
		{"two turns, a cycle more", func(t float64) float64 { return t / 10 }, 0.15, false},
		{"clockwise", func(t float64) float64 { return -t / 10 }, 0.1, true},
		{"there and back", func(t float64) float64 { return 1 - math.Abs(t-10)/10 }, 0.1, true},
		{"a rest, then on", func(t float64) float64 { return math.Min(t, 12) / 8 }, 0.125, true},
	} {
		f := &fitting{}
		for i := range 400 {
			at := float64(i) / 20
			f.bs = append(f.bs, block{t: at, th: 2 * math.Pi * c.at(at)})
		}
		if got := f.turnsWith(c.hertz); got != c.turned {
			t.Errorf("%s, %v Hz: %v", c.name, c.hertz, got)
		}
	}
}

// tagsLate is a sweep of a turn and a half in six seconds, a rest, and a little more, whose angles come early or late
// by a tenth of a second or so, more or less as it goes: a computer too busy to stamp what it reads.
func tagsLate(seed uint64, sd, tilt, nod, rest float64) []sweep.Point {
	r := rand.New(rand.NewPCG(seed, 77))
	var pts []sweep.Point
	turn := 1.45 + 0.3*r.Float64()
	at := func(t float64) float64 { // turns
		return turn/6*math.Min(t, 6) + 0.25*math.Max(0, t-6-rest)
	}
	var stamps []float64
	for t := 0.0; t < 7.2+rest; t += 0.25 {
		stamps = append(stamps, t+sd*r.NormFloat64())
	}
	sort.Float64s(stamps) // time goes one way
	for t := 0.0; t < 6.8+rest; t += 0.005 {
		if t > 6 && t < 6+rest {
			continue
		}
		th := 2 * math.Pi * at(t)
		z := 0.12 * (tilt*math.Cos(th) + nod*math.Sin(th))
		k := t / 0.25
		w := k - math.Floor(k)
		s := (1-w)*stamps[int(k)] + w*stamps[int(k)+1]
		pts = append(pts, sweep.Point{T: t, Angle: 2 * math.Pi * at(s),
			Reading: math.Round(z/0.001+r.NormFloat64()) * 0.001})
	}
	return pts
}
