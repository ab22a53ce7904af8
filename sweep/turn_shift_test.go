package sweep

import (
	"math"
	"math/rand/v2"
	"testing"
)

// threeTurns plays an arm that goes round with a lean, a form and some noise; from a moment on its encoder has lost
// counts.
func threeTurns(rng *rand.Rand, when, lost float64) []Point {
	var pts []Point
	p2, lean := rng.Float64()*7, rng.Float64()*7
	for i := range 1200 {
		t := float64(i) / 40
		th := 2*math.Pi*3.1*t/30 + 0.2*math.Sin(0.7*t)
		z := 0.4 + 0.05*math.Cos(th-lean) + 0.004*math.Cos(2*th-p2) + 0.003*t/30 + 0.002*rng.NormFloat64()
		if t >= when {
			th -= lost
		}
		pts = append(pts, Point{T: t, Angle: th, Reading: math.Round(1000*z) / 1000})
	}
	return pts
}

func TestCountsLostBetweenTwoTurns(t *testing.T) {
	setup := Setup{AngleSource: "encoder", Indicators: []Indicator{{RadiusMM: 120, ResolutionMM: 0.001}}}
	for seed := range uint64(6) {
		rng := rand.New(rand.NewPCG(seed, 11))
		when, lost := 9+12*rng.Float64(), Radians(6+18*rng.Float64())*float64(1-2*int(seed%2))
		pts := threeTurns(rng, when, lost)
		s, found, _ := FindTurnShift(pts, setup)
		if !found || math.Abs(s.Rad+lost) > Radians(1.5) || s.FromS > when || s.FromS < when-4 ||
			s.Turn != 1+int(when*3.1/30+0.03) && s.Turn != 1+int(when*3.1/30-0.03) {
			t.Errorf("%.1f degrees lost at %.1f s: found %v: %+v", Degrees(lost), when, found, s)
		}
		for _, source := range []string{"stations", "typed", SourceSteady, "program"} {
			if _, found, repeat := FindTurnShift(
				pts, Setup{AngleSource: source, Indicators: setup.Indicators}); found || repeat != 0 {
				t.Errorf("%s has no counts to lose", source)
			}
		}
		if s, found, repeat := FindTurnShift(threeTurns(rng, 99, 0), setup); found || repeat != 0 {
			t.Errorf("nothing was lost, but: %+v, %v", s, repeat)
		}
	}
}

// What holds no turns, or nothing at all, is no reason to fall over.
func TestTurnsThatCannotBeCompared(t *testing.T) {
	nan := math.NaN()
	one := []Indicator{{RadiusMM: 120}}
	for name, pts := range map[string][]Point{
		"none":         nil,
		"no angles":    {{0, nan, 1, 0}, {1, nan, 1, 0}},
		"one":          {{0, 0, 1, 0}},
		"far apart":    {{0, 0, 1, 0}, {1, 1e9, 1, 0}, {2, 2e9, 1, 0}},
		"no indicator": {{0, 0, 1, 7}, {1, 20, 1, -1}},
		"backwards":    {{5, 0, 1, 0}, {4, 20, 1, 0}},
		"no numbers":   {{nan, 0, 1, 0}, {1, math.Inf(1), 1, 0}, {2, 3, nan, 0}},
	} {
		if _, found, repeat := FindTurnShift(pts, Setup{Indicators: one}); found || repeat != 0 {
			t.Errorf("%s: found %v", name, repeat)
		}
	}
	var flat []Point
	for i := range 4000 {
		flat = append(flat, Point{T: 1, Angle: float64(i) / 50, Reading: 1})
	}
	if _, found, repeat := FindTurnShift(flat, Setup{Indicators: one}); found || repeat != 0 {
		t.Error("a flat table, all at one moment")
	}
	if _, found, _ := FindTurnShift(flat, Setup{}); found {
		t.Error("no setup")
	}
}

func BenchmarkFindTurnShift(b *testing.B) {
	setup := Setup{Indicators: []Indicator{{RadiusMM: 120, ResolutionMM: 0.001}}}
	pts := threeTurns(rand.New(rand.NewPCG(1, 11)), 99, 0)
	for b.Loop() {
		FindTurnShift(pts, setup)
	}
}
