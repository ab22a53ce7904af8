package sweep

import (
	"math"
	"strings"
	"testing"

	"tramd/sweep/units"
)

func TestRefused(t *testing.T) {
	noRadius := Setup{Indicators: []Indicator{{Name: "arm"}}}
	for _, c := range []struct {
		name  string
		pts   []Point
		setup Setup
		say   string
	}{
		{"nothing", nil, oneArm(), "there are no readings"},
		{"no angles", []Point{{Angle: math.NaN()}, {Angle: math.NaN()}}, oneArm(),
			"none of the 2 readings has a known spindle angle"},
		{"one angle", circle(0, 0, 0, 1, 10, 10.5, 11, 9.6), oneArm(), "one spindle angle"},
		{"two angles", circle(0, 0, 0, 1, 0, 90), oneArm(), "only two distinct angles"},
		{"two nearly opposite", circle(0, 0, 0, 1, 5, 165), oneArm(), "put them opposite"},
		{"opposite off the axes", circle(0, 0, 0, 1, 45, 225), oneArm(), "45 and 225 degrees show neither axis alone"},
		{"small arc", circle(0, 0, 0, 1, evenly(100, 30, 120)...), oneArm(), "the arc is too small: 90 degrees"},
		{"no radius", circle(0, 0, 0, 1, 0, 90, 180), noRadius, "no radius"},
		{"no indicator", nil, Setup{}, "no indicator"},
		{"reading not a number", []Point{{Reading: math.NaN()}}, oneArm(), "point 1: reading NaN mm"},
		{"reading infinite", []Point{{}, {Reading: math.Inf(-1)}}, oneArm(), "point 2: reading -Inf mm"},
		{"angle infinite", []Point{{Angle: math.Inf(1)}}, oneArm(), "angle +Inf rad"},
		{"time infinite", []Point{{T: math.Inf(1)}}, oneArm(), "time +Inf"},
		{"too long", []Point{{Reading: 1e300}}, oneArm(), "not one an indicator can show"},
		{"unknown indicator", []Point{{Indicator: 1}}, oneArm(), "a reading of indicator 2, but the setup describes 1"},
		{"negative indicator", []Point{{Indicator: -1}}, oneArm(), "indicator 0"},
		{"too many indicators", nil, Setup{Indicators: make17()}, "one arm carries 16 at most"},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, err := FitPlain(c.pts, c.setup)
			if err == nil || !strings.Contains(err.Error(), c.say) {
				t.Errorf("error %v, want one that says %q", err, c.say)
			}
			l, err := NewLive(c.setup)
			if err != nil {
				return
			}
			for _, p := range c.pts {
				l.Add(p)
			}
			if _, err := l.Result(); err == nil {
				t.Error("the live fit accepted it")
			}
		})
	}
}

func make17() []Indicator {
	out := make([]Indicator, 17)
	for i := range out {
		out[i].RadiusMM = 100
	}
	return out
}

// A refused reading leaves the fit as it was: nothing already measured is lost.
func TestBadReadingIsNotTaken(t *testing.T) {
	f, err := NewPlain(oneArm())
	if err != nil {
		t.Fatal(err)
	}
	for i, p := range circle(1e-4, 2e-4, 1, 120, evenly(20, 0, 340)...) {
		if err := f.Add(p); err != nil {
			t.Fatal(err)
		}
		if i%5 == 0 && f.Add(Point{Reading: math.NaN()}) == nil {
			t.Fatal("a reading that is not a number was accepted")
		}
	}
	res, err := f.Result()
	if err != nil {
		t.Fatal(err)
	}
	near(t, "tilt", float64(res.Tilt.Slope), 1e-4, 1e-12)
	if res.Readings != 20 {
		t.Errorf("%d readings", res.Readings)
	}
}

func codes(r Result) string {
	var out []string
	for _, w := range r.Warnings {
		out = append(out, w.Code)
	}
	return strings.Join(out, " ")
}

// 0.08 mm/m, to be judged against readings of half and twice the limit.
func limit() units.Tolerance { return units.Tolerance{Limit: 0.08e-3, Text: "0.08 mm/m"} }

func TestTwoOppositeStations(t *testing.T) {
	for _, c := range []struct {
		name       string
		deg        []float64
		tilt, nod  float64
		hasTilt    bool
		verdict    Verdict
		axis       Verdict
		resolution float64
	}{
		{"along X, small", []float64{0, 180}, 0.02e-3, 0.5e-3, true, Undecided, Within, 0.001},
		{"along X, large", []float64{180, 0}, 0.2e-3, 0, true, Outside, Outside, 0.001},
		{"along Y", []float64{90, 270}, 0.9e-3, 0.02e-3, false, Undecided, Within, 0.001},
		{"along Y, at the limit", []float64{270, 90}, 0, 0.08e-3, false, Undecided, Undecided, 0.001},
		{"read twice", []float64{0, 180, 360.5, 179}, 0.02e-3, 0, true, Undecided, Within, 0.0001},
	} {
		t.Run(c.name, func(t *testing.T) {
			setup := oneArm()
			setup.Tolerance = limit()
			setup.Indicators[0].ResolutionMM = c.resolution
			res, err := FitPlain(circle(c.tilt, c.nod, 2, 120, c.deg...), setup)
			if err != nil {
				t.Fatal(err)
			}
			axis, other, want := res.Tilt, res.Nod, c.tilt
			if !c.hasTilt {
				axis, other, want = res.Nod, res.Tilt, c.nod
			}
			if axis == nil || other != nil || res.Lean != nil {
				t.Fatalf("tilt %v, nod %v, lean %v", res.Tilt, res.Nod, res.Lean)
			}
			near(t, "slope", float64(axis.Slope), want, 1e-8)
			if axis.Verdict != c.axis || res.Verdict != c.verdict {
				t.Errorf("verdict %s of the axis, %s over all", axis.Verdict, res.Verdict)
			}
			if !strings.Contains(codes(res), WarnAxisNotMeasured) {
				t.Errorf("warnings %q", codes(res))
			}
			if repeated := len(c.deg) > 2; strings.Contains(codes(res), WarnNoRepeatability) == repeated {
				t.Errorf("warnings %q for %d readings", codes(res), len(c.deg))
			}
		})
	}
}
