package drift

import (
	"math"
	"math/rand/v2"
	"testing"
)

// everyCandidate is look with every candidate's gain worked out.
func everyCandidate(c *chart) finding {
	out := finding{step: change{gain: math.Inf(-1)}, ramp: change{gain: math.Inf(-1)}}
	tales := c.tales(nil)
	best, sum := 0.0, 0.0
	for _, b := range tales {
		best = max(best, b.pays)
	}
	for t := range tales {
		b := &tales[t]
		if best-b.pays >= hopelessTale {
			continue
		}
		part, before := 0.0, c.n()
		for i := len(c.knots) - 2; i >= 0; i-- {
			x := &c.knots[i]
			stands := min(float64(before-x.k), mostStands)
			before = x.k
			all := 2 * ignored * b.square / b.dof
			if num, den := c.step(b, x); x.k > 1 && num*num > all*den {
				g := b.stepGain(num*num/den, den) - (best - b.pays)
				if x.k == c.n()-1 {
					g -= dearer
				}
				part += weight(g) * stands
				out.steps += weight(g) * stands
				if g > out.step.gain {
					out.step.gain, out.step.from, out.step.size = g, x.k, num/den
				}
			}
			if num, den, _ := c.ramp(b, x); (c.n()-x.k >= 4 || x.k == 1) && c.all.last-x.last >= leastDays &&
				num*num > all*den {
				g := b.gain(num*num/den, sq(changeSize/(c.all.last-x.last))*den) - (best - b.pays) - dearer
				part += weight(g) * stands
				out.ramps += weight(g) * stands
				if g > out.ramp.gain {
					out.ramp.gain, out.ramp.from, out.ramp.rate = g, x.k-1, num/den
				}
			}
		}
		sum += part
	}
	out.evidence = math.Sqrt(2 * math.Log1p(sum))
	return out
}

// The bars leave out what changes nothing, to the last bit: of the evidence always, of the names where they are wanted.
func TestTheBarsChangeNothing(t *testing.T) {
	t.Parallel()
	looked, told, tales := 0, 0, 0
	for seed := range uint64(240) {
		r := rand.New(rand.NewPCG(seed, 21))
		c := newChart(1, scale{4e-5, float64(seed % 3)}, 0.001*float64(seed%2))
		c.floor = 1e-6 * r.Float64()
		day, walked := 0.0, 0.0
		by, tau, perDay := 0.01*r.NormFloat64()*float64(seed%4/3), 5+20*r.Float64(),
			1e-4*r.NormFloat64()*float64(seed%5/4)
		jump := 20 + r.IntN(200)
		for k := range 30 + r.IntN(400) {
			day += 0.1 + r.ExpFloat64()
			walked += 3e-4 * r.NormFloat64() * float64(seed%6/5)
			o := observation{at: at(day), t: day, r: 0.3 + r.Float64(), y: walked + by*math.Exp(-day/tau) + perDay*day +
				0.004*r.NormFloat64()}
			if seed%7 == 0 {
				o.z = 3 * r.NormFloat64()
				o.y += 0.001 * float64(seed%2) * o.z
			}
			if k >= jump && seed%3 == 0 {
				o.y += 0.006
			}
			c.add(&o)
			if k < leastSeen || k > 30 && k%7 != 0 {
				continue
			}
			want := everyCandidate(c)
			evidence, names := c.look(false), c.look(true)
			if !c.speaks() || evidence.evidence != want.evidence || names.evidence != want.evidence {
				t.Fatalf("seed %d, check %d: evidence %v, and with names %v, want %v", seed, k, evidence.evidence,
					names.evidence, want.evidence)
			}
			if names.steps != want.steps || names.ramps != want.ramps || names.step.gain != want.step.gain ||
				names.ramp.gain != want.ramp.gain ||
				names.step.from != want.step.from || names.ramp.from != want.ramp.from ||
				names.step.size != want.step.size || names.ramp.rate != want.ramp.rate {
				t.Fatalf("seed %d, check %d: named %+v, want %+v", seed, k, names, want)
			}
			looked++
			if want.evidence > threshold(c.n()) {
				told++
			}
			if _, settles := c.settled(c.flat()); settles {
				tales++
			}
		}
	}
	if looked < 5000 || told < 500 || tales < 100 {
		t.Errorf("%d looks, %d of them at a change and %d at what may settle: too few of a kind to say anything",
			looked, told, tales)
	}
}

// A deviate below the bound gains less than it says, whatever the prior.
func TestLeastSquaresBoundsTheGain(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(5, 5))
	near := 0.0
	for range 200000 {
		gain := 0.1 + 8*r.Float64()
		b := baseline{square: math.Exp(10 * r.NormFloat64()), dof: leastFree + 1000*math.Pow(r.Float64(), 4)}
		b.floor = b.square * math.Pow(r.Float64(), 8)
		z2 := b.leastSquares(leastZ2(gain))
		v := math.Exp(6*r.Float64() - 1)
		if g := b.gain(z2, v); g >= gain {
			t.Fatalf("a gain of %v where %v was the bound: %+v, prior %v", g, gain, b, v)
		} else {
			near = max(near, g/gain)
		}
	}
	if near < 0.999 {
		t.Errorf("the bound lies no nearer than %.4f of its quantity", near)
	}
}
