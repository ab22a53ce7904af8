package sweep

import (
	"math"
	"math/rand/v2"
	"testing"
)

// arm is a made-up way of turning: uneven, forwards and back.
func arm(t float64) float64 { return 4*math.Sin(0.7*t) + 0.9*t + 0.05*math.Sin(11*t) }

func TestEncoderTagsEveryReadingWithTheAngleOfItsMoment(t *testing.T) {
	const cpt = 4096
	for _, tc := range []struct {
		name     string
		wrap     bool
		reversed bool
		zero     float64
	}{{"counts on", false, false, 0}, {"wraps", true, false, 0}, {"reversed", false, true, 30},
		{"wraps reversed", true, true, -90}} {
		t.Run(tc.name, func(t *testing.T) {
			e := NewEncoder(EncoderOptions{CountsPerTurn: cpt, Reversed: tc.reversed, ZeroDeg: tc.zero})
			worst, n := 0.0, 0
			emit := func(p Point) {
				if math.IsNaN(p.Angle) {
					return
				}
				n++
				d := math.Remainder(p.Angle-arm(p.T), 2*math.Pi)
				worst = math.Max(worst, math.Abs(d))
			}
			for i := range 20000 {
				at := float64(i) / 1000
				e.AddReading(at+0.0004, arm(at+0.0004), 0, emit)
				a := arm(at) - Radians(tc.zero)
				if tc.reversed {
					a = -a
				}
				c := int64(math.Floor(a / (2 * math.Pi) * cpt))
				if tc.wrap {
					c = ((c % cpt) + cpt) % cpt
				}
				e.AddCount(at, c, false, emit)
			}
			if n < 19990 {
				t.Fatalf("only %d of 20000 readings were given an angle", n)
			}
			// One count of quantisation, plus what the arm does between two samples.
			if limit := 2*math.Pi/cpt + 0.01; worst > limit {
				t.Errorf("worst angle error %.5f rad, want at most %.5f", worst, limit)
			}
		})
	}
}

func TestEncoderGivesNoAngleWhereItIsNotCertain(t *testing.T) {
	e := NewEncoder(EncoderOptions{CountsPerTurn: 1000})
	var got []Point
	emit := func(p Point) { got = append(got, p) }
	e.AddReading(-1, 0, 0, emit) // before the encoder ever spoke
	e.AddCount(0, 0, false, emit)
	e.AddReading(0.5, 1, 0, emit) // in a gap over which the arm moved
	e.AddCount(1, 100, false, emit)
	e.AddReading(1.5, 2, 0, emit) // in a gap over which it stood still: certain
	e.AddCount(2, 100, false, emit)
	e.AddReading(2.005, 3, 0, emit) // the count jumps by 40 turns in 10 ms
	e.AddCount(2.01, 40100, false, emit)
	e.AddReading(2.015, 4, 0, emit) // and goes on from there: from where is not known
	e.AddCount(2.02, 40100, false, emit)
	e.AddReading(3, 5, 0, emit) // the encoder says no more
	e.Flush(emit)
	want := []bool{false, false, true, false, false, false}
	if len(got) != len(want) {
		t.Fatalf("got %d points, want %d", len(got), len(want))
	}
	for i, known := range want {
		if known == math.IsNaN(got[i].Angle) {
			t.Errorf("reading %v: angle %v, known should be %v", got[i].Reading, got[i].Angle, known)
		}
	}
	if e.Jumps() != 1 {
		t.Errorf("jumps = %d, want 1", e.Jumps())
	}
}

func TestHalfALineOfTheEncoderTagsNothing(t *testing.T) {
	for _, period := range []float64{0.001, 0.005, 0.02, 0.1} {
		e := NewEncoder(EncoderOptions{CountsPerTurn: 4096})
		worst, n := 0.0, 0
		emit := func(p Point) {
			if !math.IsNaN(p.Angle) {
				n++
				worst = math.Max(worst, math.Abs(p.Angle-arm(p.T)))
			}
		}
		total := int(30 / period)
		for i := range total {
			at := float64(i) * period
			e.AddReading(at+period/2, 0, 0, emit)
			c := int64(math.Floor(arm(at) / (2 * math.Pi) * 4096))
			if i%97 == 50 {
				c /= 10 // the last digit was lost on the wire
			}
			e.AddCount(at, c, false, emit)
		}
		if n < total*95/100 {
			t.Errorf("period %v s: only %d of %d readings were given an angle", period, n, total)
		}
		// What the arm does between samples, twice over where one is missing, and what a lost digit may hide inside.
		if limit := Radians(1) + 4.3*1.5*period; worst > limit {
			t.Errorf("period %v s: worst angle error %.2f deg, want at most %.2f", period, Degrees(worst),
				Degrees(limit))
		}
		if e.Jumps() != 0 {
			t.Errorf("period %v s: %d jumps", period, e.Jumps())
		}
	}
}

func TestEncoderTagsReadingsThatArriveAfterLaterSamples(t *testing.T) {
	e := NewEncoder(EncoderOptions{CountsPerTurn: 36000})
	none := func(Point) { t.Error("nothing waits") }
	for i := range 100 {
		e.AddCount(float64(i)/100, int64(i*10), false, none)
	}
	var got Point
	e.AddReading(0.505, 1, 0, func(p Point) { got = p })
	if want := Radians(5.05); math.Abs(got.Angle-want) > 1e-12 {
		t.Errorf("angle %v, want %v", got.Angle, want)
	}
}

func TestEncoderNeverLosesOrReordersAReading(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	e := NewEncoder(EncoderOptions{CountsPerTurn: 360})
	seen, last := 0, math.Inf(-1)
	emit := func(p Point) {
		seen++
		if p.T < last {
			t.Fatalf("reading of %v came after %v", p.T, last)
		}
		last = p.T
	}
	sent, at := 0, 0.0
	for range 5000 {
		at += rng.Float64() * 0.01
		if rng.IntN(3) == 0 {
			e.AddCount(at, int64(at*50), false, emit)
		} else {
			e.AddReading(at, 0, 0, emit)
			sent++
		}
	}
	e.Flush(emit)
	if seen != sent {
		t.Errorf("%d readings in, %d out", sent, seen)
	}
}

func TestEncoderDegrees(t *testing.T) {
	e := NewEncoder(EncoderOptions{})
	emit := func(Point) {}
	for _, d := range []float64{350, 355, 0, 5, 90, 180, 270, 359, 1, -1, 358} {
		e.AddDegrees(e.lastT()+0.2, d, false, emit)
	}
	got, _, _ := e.Angle()
	if want := Radians(358 + 360); math.Abs(got-want) > 1e-9 {
		t.Errorf("angle %v deg, want %v deg", Degrees(got), Degrees(want))
	}
	e.AddDegrees(9, math.NaN(), false, emit)
	e.AddDegrees(9, math.Inf(1), false, emit)
	if again, _, _ := e.Angle(); again != got {
		t.Error("a value that is no number moved the arm")
	}
}

func (e *Encoder) lastT() float64 {
	if !e.have {
		return 0
	}
	return e.last().t
}

func BenchmarkEncoderTag(b *testing.B) {
	e := NewEncoder(EncoderOptions{CountsPerTurn: 4096})
	emit := func(Point) {}
	b.ReportAllocs()
	for i := range b.N {
		t := float64(i) / 1000
		e.AddReading(t+0.0003, 1, 0, emit)
		e.AddCount(t, int64(i), false, emit)
	}
}
