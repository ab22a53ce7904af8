package sweep

import (
	"math"
	"testing"
)

// tagged runs the made-up arm past an encoder of cpt counts whose counter shows what show makes of the true count, and
// gives every point that came out.
func tagged(o EncoderOptions, seconds float64, show func(t float64, count int64) (shown int64, index bool)) (
	pts []Point, e *Encoder, doubts []Doubt) {
	e = NewEncoder(o)
	emit := func(p Point) { pts = append(pts, p) }
	const rate = 200
	for i := range int(seconds * rate) {
		t := float64(i) / rate
		e.AddReading(t+0.002, 0, 0, emit)
		shown, index := show(t, int64(math.Floor(turning(t)/(2*math.Pi)*float64(o.CountsPerTurn))))
		e.AddCount(t, shown, index, emit)
		for s, ok := e.Slip(); ok; s, ok = e.Slip() {
			doubts = append(doubts, s.Doubt())
		}
	}
	e.Flush(emit)
	return pts, e, doubts
}

// turning goes round in about four seconds, unevenly.
func turning(t float64) float64 { return 1.5*t + 0.4*math.Sin(1.3*t) }

// passes says whether the count went over a multiple of cpt since it was last asked.
func passes(cpt int64) func(count int64) bool {
	last := int64(math.MinInt64)
	return func(count int64) bool {
		turn := int64(math.Floor(float64(count) / float64(cpt)))
		crossed := last != math.MinInt64 && turn != last
		last = turn
		return crossed
	}
}

func worstError(pts []Point, truth func(t float64) float64) (worst float64, known int) {
	for _, p := range pts {
		if !math.IsNaN(p.Angle) {
			known++
			worst = math.Max(worst, math.Abs(math.Remainder(p.Angle-truth(p.T), 2*math.Pi)))
		}
	}
	return worst, known
}

func TestLostCountsComeToLightAtTheIndexAndNothingStaysMistagged(t *testing.T) {
	const cpt = 4096
	for name, lost := range map[string]func(t float64) int64{
		"none":     func(float64) int64 { return 0 },
		"at once":  func(t float64) int64 { return step(t > 6.1) * 60 },
		"backward": func(t float64) int64 { return step(t > 6.1) * -60 },
		"by and by": func(t float64) int64 { // one in ten counts, while it lasts
			return int64(math.Min(math.Max(t-6, 0), 3) * 100)
		},
		"twice": func(t float64) int64 { return step(t > 5.2)*55 + step(t > 11)*80 },
	} {
		t.Run(name, func(t *testing.T) {
			over := passes(cpt)
			pts, _, doubts := tagged(EncoderOptions{CountsPerTurn: cpt}, 24, func(at float64, c int64) (int64, bool) {
				return c - lost(at), over(c)
			})
			if name == "none" && len(doubts) > 0 {
				t.Fatalf("doubted for nothing: %v", doubts)
			}
			if name != "none" && len(doubts) == 0 {
				t.Fatal("nothing was noticed")
			}
			worst, known := worstError(Believed(pts, doubts), turning)
			// Up to two counts, a tenth of a degree and the step to the marked sample may pass; a step here is 0.6
			// degrees at most.
			if limit := Radians(1); worst > limit {
				t.Errorf("a believed angle is off by %.2f deg", Degrees(worst))
			}
			if known < len(pts)/3 {
				t.Errorf("only %d of %d angles are believed", known, len(pts))
			}
		})
	}
}

func step(on bool) int64 {
	if on {
		return 1
	}
	return 0
}

func TestTheIndexPlacesTheArmWhateverTheCounterShowedAtPowerOn(t *testing.T) {
	const cpt, at = 4096, -30.0
	deg := at
	over := passes(cpt)
	pts, e, doubts := tagged(EncoderOptions{CountsPerTurn: cpt, IndexDeg: &deg}, 10,
		func(_ float64, c int64) (int64, bool) {
			return c + 1234, over(c) // the index lies at count 0 of the truth
		})
	truth := func(t float64) float64 { return turning(t) + Radians(at) }
	if worst, known := worstError(pts, truth); worst > Radians(0.7) || known == 0 || len(doubts) > 0 {
		t.Errorf("worst %.2f deg of %d, doubts %v", Degrees(worst), known, doubts)
	}
	for _, p := range pts {
		if turning(p.T) < 6 && !math.IsNaN(p.Angle) {
			t.Fatalf("an angle at %v s, before the index was passed", p.T)
		}
	}
	if e.Unplaced() {
		t.Error("not placed by its index")
	}
}

func TestAnIndexLineOfItsOwnCountsWhereItCame(t *testing.T) {
	e := NewEncoder(EncoderOptions{CountsPerTurn: 3600, IndexToleranceDeg: 0.3})
	emit := func(Point) {}
	lost := int64(0)
	count := func(more int64, from, to int) {
		for i := from; i < to; i++ {
			if more > 0 && i%10 == 0 { // too little at a time for the arm's pace to show it
				more, lost = more-1, lost+1
			}
			e.AddCount(float64(i)/100, int64(i*20)-lost, false, emit)
			if i%180 == 100 {
				e.AddIndex(float64(i)/100 + 0.004)
			}
		}
	}
	count(0, 0, 500)
	if _, ok := e.Slip(); ok {
		t.Error("a slip where nothing was lost")
	}
	count(5, 500, 900)
	s, ok := e.Slip()
	if !ok || math.Abs(s.Deg+0.5) > 0.11 || s.FromS < 4.6 || s.FromS > 4.7 {
		t.Errorf("slip %+v %v, want -0.5 degrees since the mark at 4.6 s", s, ok)
	}
}

func TestGearAndCounterWidth(t *testing.T) {
	for _, tc := range []struct {
		name           string
		o              EncoderOptions
		show           func(int64) int64
		encoderPerTurn float64
	}{
		{"16 bits unsigned", EncoderOptions{CounterBits: 16}, func(c int64) int64 { return c & 0xffff }, 1},
		{"16 bits signed", EncoderOptions{CounterBits: 16}, func(c int64) int64 { return int64(int16(c)) }, 1},
		{"24 bits just below its wrap", EncoderOptions{CounterBits: 24}, func(c int64) int64 { return c & 0xffffff },
			1},
		{"32 bits signed", EncoderOptions{CounterBits: 32}, func(c int64) int64 { return int64(int32(c)) }, 1},
		{"geared up", EncoderOptions{SpindleTeeth: 30, EncoderTeeth: 12}, func(c int64) int64 { return c }, 2.5},
		{"geared down, wraps", EncoderOptions{SpindleTeeth: 12, EncoderTeeth: 30}, func(c int64) int64 {
			return ((c % 3000) + 3000) % 3000
		}, 0.4},
		{"geared, 16 bits", EncoderOptions{SpindleTeeth: 64, EncoderTeeth: 20, CounterBits: 16}, func(c int64) int64 {
			return c & 0xffff
		}, 3.2},
	} {
		t.Run(tc.name, func(t *testing.T) {
			tc.o.CountsPerTurn = 3000
			e := NewEncoder(tc.o)
			var pts []Point
			emit := func(p Point) { pts = append(pts, p) }
			back := func(t float64) float64 { return 6 * math.Sin(0.9*t) } // through zero and back, time and again
			for i := range 4000 {
				at := float64(i) / 200
				e.AddReading(at+0.001, 0, 0, emit)
				e.AddCount(at, tc.show(int64(math.Floor(back(at)*tc.encoderPerTurn/(2*math.Pi)*3000))), false, emit)
			}
			if worst, known := worstError(pts, back); worst > Radians(0.5) || known < 3900 || e.Jumps() > 0 {
				t.Errorf("worst %.2f deg, %d known, %d jumps", Degrees(worst), known, e.Jumps())
			}
		})
	}
}

func TestAResetOfTheCounterIsNoTurnOfTheArm(t *testing.T) {
	for _, rate := range []float64{20, 100, 500} {
		for k := range 40 {
			e := NewEncoder(EncoderOptions{CountsPerTurn: 3600})
			var pts []Point
			emit := func(p Point) { pts = append(pts, p) }
			when := 3 + float64(k)*0.11
			var zero int64
			for i := range int(10 * rate) {
				at := float64(i) / rate
				c := int64(math.Floor(turning(at) / (2 * math.Pi) * 3600))
				if at < when {
					zero = c
				} else {
					c -= zero
				}
				e.AddReading(at+0.3/rate, 0, 0, emit)
				e.AddCount(at, c, false, emit)
				if e.Jumps() > 0 {
					break // the sweep ends here
				}
			}
			worst, _ := worstError(pts, turning)
			// What the arm does in the time of a few samples cannot be told from a reset to nearly the same place.
			if limit := Radians(stirDeg) + 5*2/rate; worst > limit {
				t.Errorf("%v samples a second, reset at %.2f s: an angle off by %.1f deg, %d jumps", rate, when,
					Degrees(worst), e.Jumps())
			}
		}
	}
}

func TestACountThatNoCounterOfItsWidthShowsIsDropped(t *testing.T) {
	e := NewEncoder(EncoderOptions{CountsPerTurn: 4096, CounterBits: 16})
	emit := func(Point) {}
	e.AddCount(0, 100, false, emit)
	for _, c := range []int64{100101, -40000, 65536} {
		e.AddCount(0.1, c, true, emit)
	}
	if a, _, _ := e.Angle(); e.Spikes() != 3 || math.Abs(a-Radians(100*360.0/4096)) > 1e-12 {
		t.Errorf("%d spikes, angle %v", e.Spikes(), a)
	}
}

// A computer that is busy stamps a line late, and the next one, which came after a pause, right after it.
func TestALateStampIsNoJump(t *testing.T) {
	e := NewEncoder(EncoderOptions{CountsPerTurn: 4096})
	var pts []Point
	emit := func(p Point) { pts = append(pts, p) }
	count := func(at float64) int64 { return int64(math.Floor(turning(at) / (2 * math.Pi) * 4096)) }
	for i := range 2500 {
		at := float64(i) / 250
		stamp := at
		switch k := i % 100; {
		case k == 50:
			stamp = at + 0.0999
		case k > 50 && k < 75: // the instrument's computer was busy too
			continue
		}
		e.AddReading(at, 0, 0, emit)
		e.AddCount(stamp, count(at), false, emit)
	}
	if e.Jumps() > 0 {
		t.Errorf("%d jumps", e.Jumps())
	}
	// The angle of a late stamp is that of a moment 0.1 s before: nothing shows it, but the stretch after it is known
	// to be off.
	if worst, known := worstError(pts, turning); worst > 0.1*2.1 || known < 1500 {
		t.Errorf("worst %.1f deg of %d known", Degrees(worst), known)
	}
}

func TestAfterAJumpTheIndexSetsTheAngleRight(t *testing.T) {
	const cpt = 4096
	over := passes(cpt)
	pts, e, doubts := tagged(EncoderOptions{CountsPerTurn: cpt}, 24, func(at float64, c int64) (int64, bool) {
		return c - step(at > 11)*700, over(c)
	})
	worst, known := worstError(Believed(pts, doubts), turning)
	if e.Jumps() != 1 || !e.Recovers() || len(doubts) != 1 || worst > Radians(1) || known < len(pts)/2 {
		t.Errorf("%d jumps, doubts %+v, worst %.1f deg, %d of %d known", e.Jumps(), doubts, Degrees(worst),
			known, len(pts))
	}
}
