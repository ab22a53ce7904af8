package sweep

import (
	"math"
	"testing"
)

// carriage is a made-up way of winding: uneven, with a rest and a way back, over more than a stretch that stands for a
// turn.
func carriage(t float64) float64 {
	return 600*math.Sin(0.15*t) + 0.8*math.Sin(7*t)
}

// Every reading gets the position of its moment, over any length, however the scale counts.
func TestAScaleTagsEveryReadingWithThePositionOfItsMoment(t *testing.T) {
	t.Parallel()
	for _, tc := range []struct {
		name     string
		perMM    float64
		reversed bool
		bits     int
		zero     float64
	}{{"counts on", 200, false, 0, 0}, {"reversed", 200, true, 0, 12.5}, {"in inches", 10000 / 25.4, false, 0, -3},
		{"16 bits", 100, false, 16, 0}, {"coarse", 10, false, 0, 0}} {
		t.Run(tc.name, func(t *testing.T) {
			t.Parallel()
			worst, n := 0.0, 0
			s := NewScale(ScaleOptions{CountsPerMM: tc.perMM, Reversed: tc.reversed, CounterBits: tc.bits,
				ZeroMM: tc.zero}, func(p Point) {
				if !math.IsNaN(p.Angle) {
					n++
					worst = math.Max(worst, math.Abs(p.Angle-carriage(p.T)))
				}
			})
			for i := range 4000 {
				at := float64(i) / 100
				s.AddReading(at+0.004, 1, 0)
				x := carriage(at) - tc.zero
				if tc.reversed {
					x = -x
				}
				c := int64(math.Round(x * tc.perMM))
				if tc.bits > 0 {
					c = ((c % (1 << tc.bits)) + 1<<tc.bits) % (1 << tc.bits)
				}
				s.AddCount(at, c)
			}
			// Half a count, and what the way bends within one hundredth of a second.
			if most := 0.5/tc.perMM + 0.002; worst > most || n < 3990 {
				t.Errorf("%d of 4000 tagged, the worst off by %v mm, at most %v", n, worst, most)
			}
			if mm, _, known := s.Position(); !known || math.Abs(mm-carriage(39.99)) > 1/tc.perMM {
				t.Errorf("it stands at %v (%v)", mm, known)
			}
			if s.Jumps() != 0 {
				t.Errorf("%d jumps", s.Jumps())
			}
		})
	}
}

// A count that starts over is noticed, tags nothing, and after a loss a person says where the axis stands.
func TestAScaleThatStartsOver(t *testing.T) {
	t.Parallel()
	var wrong int
	s := NewScale(ScaleOptions{CountsPerMM: 200}, func(p Point) {
		if !math.IsNaN(p.Angle) && math.Abs(p.Angle-20*p.T) > 0.1 {
			wrong++
		}
	})
	if s.SetPosition(0) {
		t.Error("a silent scale was set")
	}
	start := int64(0)
	at := 0.0
	for i := range 600 {
		at = float64(i) / 100
		if i == 300 {
			start = int64(20 * at * 200)
		}
		s.AddReading(at+0.004, 1, 0)
		s.AddCount(at, int64(math.Round(20*at*200))-start)
		if s.Jumps() > 0 {
			break
		}
	}
	if s.Jumps() != 1 || wrong > 0 || at > 3.5 {
		t.Errorf("%d jumps by %v s, %d readings tagged wrong", s.Jumps(), at, wrong)
	}
	if _, _, known := s.Position(); known {
		t.Error("the position is known after a jump")
	}
	s.Lose()
	s.AddCount(at+1, 4000)
	if !s.SetPosition(50) {
		t.Error("it cannot be set")
	}
	s.AddCount(at+1.01, 4100)
	if mm, _, known := s.Position(); !known || math.Abs(mm-50.5) > 1e-9 {
		t.Errorf("it stands at %v (%v)", mm, known)
	}
}
