package sweep

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
)

// A hand moves a surface: it stands, goes, comes back, and stands. What the contact says of each reading against one
// from before the move must hold the truth as often as it claims to, late readings and a plunger's play included. The
// first moment of a move does not count: no reading of it has come.
func TestAContactSaysHowFarAReadingMayBeTrusted(t *testing.T) {
	for _, x := range []struct {
		rate, delay, hysteresis, noise, step float64
	}{
		{10, 0, 0, 0.0005, 0.001}, {50, 0.02, 0, 0.001, 0.001}, {200, 0.05, 0.004, 0.001, 0.001},
		{1000, 0.01, 0.003, 0.002, 0.0005}, {50, 0.1, 0.02, 0.002, 0.01}, {20, 0, 0.002, 0.0002, 0.0005},
	} {
		t.Run(fmt.Sprintf("%g a second", x.rate), func(t *testing.T) {
			t.Parallel()
			r := rand.New(rand.NewPCG(5, uint64(x.rate)))
			held, looks, moving, behind, wide := 0, 0, 0, 0.0, 0.0
			for range 60 {
				h := moves{begins: 1 + r.Float64(), speed: 0.4 * r.Float64(), far: 0.3 * (r.Float64() - 0.3),
					back: 0.1 * (r.Float64() - 0.5)}
				c := NewContact(Indicator{ResolutionMM: x.step, HysteresisMM: x.hysteresis}, x.delay)
				plunger, shown, next := x.hysteresis*(r.Float64()-0.5), 0.0, 0.0
				from, uFrom := math.NaN(), 0.0
				for now := 0.0; now < 7; now += 0.0137 {
					for ; next+x.delay <= now; next += 1 / x.rate {
						z := h.at(next)
						plunger = math.Min(math.Max(plunger, z-x.hysteresis/2), z+x.hysteresis/2)
						shown = x.step * math.Round((plunger+x.noise*r.NormFloat64())/x.step)
						c.Add(next+x.delay, shown)
					}
					s, ok := c.At(now)
					if !ok || now < 0.9 {
						continue
					}
					if math.IsNaN(from) {
						from, uFrom = shown+s.LagMM-h.at(now),
							s.UMM // the error of the reading that the move is counted from
						continue
					}
					if h.beganSince(now - x.delay - 0.15) {
						continue // too few readings of the move have come
					}
					looks++
					if e := shown + s.LagMM - h.at(now) - from; math.Abs(e) <= 2*math.Hypot(s.UMM, uFrom) {
						held++
					}
					if speed := math.Abs(h.at(now)-h.at(now-0.3)) / 0.3; speed > 0.9*h.speed && h.speed > 0.1 {
						moving++
						behind += math.Abs(shown - h.at(now))
						wide += 2 * s.UMM
					}
				}
			}
			share := float64(held) / float64(looks)
			behind, wide = behind/float64(moving), wide/float64(moving)
			t.Logf("held %.3f of %d; moving: %.4f mm behind, ± %.4f", share, looks, behind, wide)
			if share < 0.93 {
				t.Errorf("the interval held the truth in %.3f of %d looks", share, looks)
			}
			if x.delay > 0.01 && wide > 3*behind {
				t.Errorf("moving, the intervals are ± %.4f mm where the readings are %.4f mm behind", wide, behind)
			}
		})
	}
}

// moves is how a hand moves a surface, mm over seconds.
type moves struct{ begins, speed, far, back float64 }

// beganSince says whether the hand began to move between t and the present, which is at most half a second later.
func (h moves) beganSince(t float64) bool {
	return h.begins > t && h.begins < t+0.5 || h.begins+3 > t && h.begins+3 < t+0.5
}

func (h moves) at(t float64) float64 {
	ramp := func(begin, far float64) float64 {
		took := math.Max(math.Abs(far)/math.Max(h.speed, 0.01), 0.2)
		u := math.Min(math.Max((t-begin)/took, 0), 1)
		return far * u * u * (3 - 2*u)
	}
	return ramp(h.begins, h.far) + ramp(h.begins+3, h.back)
}

// The lag of a reading that is a tenth of a second old, at 0.2 mm/s, and what stated play adds.
func TestAContactThatMovesLagsBehind(t *testing.T) {
	c := NewContact(Indicator{ResolutionMM: 0.001, HysteresisMM: 0.004}, 0.06)
	if _, ok := c.At(0); ok {
		t.Error("a contact without readings says how it stands")
	}
	for i := range 100 {
		c.Add(0.02*float64(i), 1+0.004*float64(i))
	}
	s, ok := c.At(1.98 + 0.04)
	if !ok || math.Abs(s.RateMMPerS-0.2) > 1e-6 || math.Abs(s.LagMM-(0.2*0.1+0.002)) > 1e-6 || s.LagUMM < 0.01 ||
		s.UMM < s.LagUMM {
		t.Errorf("%+v", s)
	}
	for i := range 100 { // it stands
		c.Add(2+0.02*float64(i), 1.396)
	}
	if s, _ = c.At(4); s.RateMMPerS != 0 || s.LagMM != 0 || s.UMM > 0.0021 {
		t.Errorf("standing: %+v", s)
	}
}

func BenchmarkContact(b *testing.B) {
	c := NewContact(Indicator{ResolutionMM: 0.001}, 0.01)
	for i := range b.N {
		c.Add(0.001*float64(i), 0.001*float64(i%7))
	}
}
