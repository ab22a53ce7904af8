package sweep

import (
	"math"
	"strings"
	"testing"
)

func TestCorrect(t *testing.T) {
	table := &Calibration{ShownMM: []float64{0, 5, 10}, TrueMM: []float64{0.001, 5.003, 9.998}}
	for _, c := range []struct {
		ind         Indicator
		shown, want float64
	}{
		{Indicator{}, 1.234, 1.234},
		{Indicator{Calibration: table}, 5, 5.003},
		{Indicator{Calibration: table}, 2.5, 2.502},  // half way: +0.001 and +0.003
		{Indicator{Calibration: table}, 7.5, 7.5005}, // half way: +0.003 and -0.002
		{Indicator{Calibration: table}, -1, -0.999},  // the end's correction goes on
		{Indicator{Calibration: table}, 12, 11.998},  //
		{Indicator{Factor: 0.98}, 1, 0.98},           // a lever whose stylus is longer than the maker's
		{Indicator{StemDeg: 60}, 1, 0.5},             // cosine
		{Indicator{Factor: 2, StemDeg: -60}, 0.3, 0.3},
	} {
		if got := c.ind.Correct(c.shown); math.Abs(got-c.want) > 1e-12 {
			t.Errorf("%+v shows %v: %v, want %v", c.ind, c.shown, got, c.want)
		}
	}
}

// A sweep read with a lever of half the movement leans half as much as it shows, by the plain fit and while it goes on.
func TestCorrectedSweep(t *testing.T) {
	setup := Setup{Indicators: []Indicator{{RadiusMM: 100, ResolutionMM: 0.001, Factor: 0.5}}}
	live, err := NewLive(setup)
	if err != nil {
		t.Fatal(err)
	}
	var pts []Point
	for i := range 36 {
		a := 2 * math.Pi * float64(i) / 36
		p := Point{T: float64(i), Angle: a, Reading: 3 + 0.02*math.Cos(a)}
		pts = append(pts, p)
		live.Add(p)
	}
	r, err := FitPlain(pts, setup)
	if err != nil {
		t.Fatal(err)
	}
	l, err := live.Result()
	if err != nil {
		t.Fatal(err)
	}
	if math.Abs(r.Tilt.Slope.MMPerM()-0.1) > 1e-9 || math.Abs(l.Tilt.Slope.MMPerM()-0.1) > 1e-9 ||
		math.Abs(r.OffsetMM[0]-1.5) > 1e-9 {
		t.Errorf("tilt %v, live %v mm/m, offset %v", r.Tilt.Slope.MMPerM(), l.Tilt.Slope.MMPerM(), r.OffsetMM)
	}
}

func TestBadTruthIsRefused(t *testing.T) {
	nan := math.NaN()
	for _, c := range []struct {
		ind  Indicator
		want string
	}{
		{Indicator{StemDeg: 80}, "stem"},
		{Indicator{StemUDeg: nan}, "stem"},
		{Indicator{Factor: nan}, "factor"},
		{Indicator{FactorU: -1}, "factor"},
		{Indicator{TravelMM: []float64{3}}, "travel"},
		{Indicator{TravelMM: []float64{3, nan}}, "travel"},
		{Indicator{Calibration: &Calibration{}}, "calibration"},
		{Indicator{Calibration: &Calibration{UMM: nan, ShownMM: []float64{0, 1}, TrueMM: []float64{0, 1}}},
			"calibration"},
		{Indicator{Calibration: &Calibration{ShownMM: []float64{0, 0}, TrueMM: []float64{0, 1}}}, "rise"},
		{Indicator{Calibration: &Calibration{ShownMM: []float64{0, 1}, TrueMM: []float64{0, nan}}}, "row 2"},
	} {
		c.ind.RadiusMM = 100
		err := Setup{Indicators: []Indicator{c.ind}}.Validate()
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%+v: %v, want an error about the %s", c.ind, err, c.want)
		}
	}
}
