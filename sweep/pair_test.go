package sweep

import (
	"encoding/json"
	"math"
	"math/rand/v2"
	"testing"

	"tramd/sweep/units"
)

// The reversal worked by hand: offsets 1.300 and 1.100 mm, lean 0.2 mm/m along the bar, radii 100 and 150 mm.
func TestHalfTurnByHand(t *testing.T) {
	p, err := NewPair(Indicator{RadiusMM: 100}, Indicator{RadiusMM: 150, PhaseDeg: 180})
	if err != nil {
		t.Fatal(err)
	}
	first := p.Difference(1.300+0.020, 1.100-0.030)
	turned := p.Difference(1.300-0.020, 1.100+0.030)
	zero, lean := p.HalfTurn(first, turned, 0.001)
	if math.Abs(zero.MM-0.2) > 1e-12 || math.Abs(lean.Slope.MMPerM()-0.2) > 1e-9 {
		t.Errorf("offset %v mm, lean %v mm/m; want 0.2 and 0.2", zero.MM, lean.Slope.MMPerM())
	}
	if got, want := lean.U.MMPerM(), 0.001/math.Sqrt2/0.25; math.Abs(got-want) > 1e-9 {
		t.Errorf("u %v mm/m, want %v", got, want)
	}
	// Then somebody swings the head by -0.15 mm/m, and the pair shows it without turning.
	now := zero.Read(p.Difference(1.300+0.005, 1.100-0.0075))
	if math.Abs(now.Slope.MMPerM()-0.05) > 1e-9 {
		t.Errorf("after the swing %v mm/m, want 0.05", now.Slope.MMPerM())
	}
	if got, want := now.U.MMPerM(), 0.001*math.Sqrt(1.5)/0.25; math.Abs(got-want) > 1e-9 {
		t.Errorf("u %v mm/m, want %v", got, want)
	}
}

// The stated uncertainty holds the truth as often as it says, a radius that is not well known included.
func TestPairCovers(t *testing.T) {
	r := rand.New(rand.NewPCG(6, 1))
	const trials, noise, uRadius, lean = 4000, 0.001, 1.0, 1.2e-3
	held := 0
	for range trials {
		p, err := NewPair(Indicator{RadiusMM: 100 + uRadius*r.NormFloat64(), RadiusUMM: uRadius},
			Indicator{RadiusMM: 100 + uRadius*r.NormFloat64(), RadiusUMM: uRadius, PhaseDeg: -180})
		if err != nil {
			t.Fatal(err)
		}
		u := noise * math.Sqrt2
		d := func(s float64) float64 {
			return p.Difference(100*s+noise*r.NormFloat64(), 0.4-100*s+noise*r.NormFloat64())
		}
		zero, _ := p.HalfTurn(d(0.1e-3), d(-0.1e-3), u)
		got := zero.Read(d(lean))
		if math.Abs(float64(got.Slope)-lean) <= 1.96*float64(got.U) {
			held++
		}
	}
	if share := float64(held) / trials; share < 0.94 || share > 0.96 {
		t.Errorf("held the truth in %.1f %%, want 95", 100*share)
	}
}

func TestNoPair(t *testing.T) {
	for _, ind := range []Indicator{{RadiusMM: 100, PhaseDeg: 90}, {RadiusMM: 100, PhaseDeg: 176}, {PhaseDeg: 180},
		{RadiusMM: 100, PhaseDeg: math.NaN()}} {
		if _, err := NewPair(Indicator{RadiusMM: 100}, ind); err == nil {
			t.Errorf("a pair was made with %+v", ind)
		}
	}
	if _, _, _, ok := OppositePair(Setup{Indicators: []Indicator{{RadiusMM: 1}, {RadiusMM: 1, PhaseDeg: 90},
		{RadiusMM: 1, PhaseDeg: 270}}}); !ok {
		t.Error("90 and 270 degrees were not found")
	}
}

// Two readings of a bar at right angles give both axes, also where the bar stood a little askew: tilt 0.3 and nod -0.2
// mm/m, the bar at 2 and at 91 degrees.
func TestTwoPlacesOfABarGiveBothAxes(t *testing.T) {
	along := func(deg float64) PairLean {
		s, c := math.Sincos(Radians(deg))
		return PairLean{Slope: units.Slope(0.3*c-0.2*s) * units.MMPerM, U: 0.01 * units.MMPerM,
			Expanded: 0.02 * units.MMPerM}
	}
	tilt, nod, ok := AxesOf(Radians(2), along(2), Radians(91), along(91), 0)
	if !ok || math.Abs(tilt.Slope.MMPerM()-0.3) > 1e-12 || math.Abs(nod.Slope.MMPerM()+0.2) > 1e-12 {
		t.Errorf("%+v %+v %v", tilt, nod, ok)
	}
	if u := tilt.U.MMPerM(); u < 0.01 || u > 0.011 {
		t.Errorf("u %v mm/m", u)
	}
	// By hand: a bar that may stand 0.02 rad askew shows 0.02 of 0.2 mm/m.
	if tilt, _, _ = AxesOf(0, along(0), math.Pi/2, along(90), 0.02); math.Abs(
		tilt.U.MMPerM()-math.Hypot(0.01, 0.004)) > 1e-12 {
		t.Errorf("askew: u %v mm/m", tilt.U.MMPerM())
	}
	if _, _, ok := AxesOf(0, along(0), Radians(178), along(178), 0); ok {
		t.Error("both axes from two places on one line")
	}
}

// What a half turn found is kept in the result, through its JSON, and read from there.
func TestWhatAHalfTurnFoundIsKept(t *testing.T) {
	setup := Setup{Indicators: []Indicator{{Name: "near", RadiusMM: 100, ResolutionMM: 0.001},
		{Name: "far", RadiusMM: 150, PhaseDeg: 180, ResolutionMM: 0.001}}}
	pts := []Point{{Angle: 0, Reading: 1.320}, {Angle: 0, Reading: 1.070, Indicator: 1},
		{Angle: math.NaN(), Reading: 9},
		{Angle: math.Pi, Reading: 1.280}, {Angle: math.Pi, Reading: 1.130, Indicator: 1}}
	r := Result{Tilt: &Axis{U: 0.004 * units.MMPerM}, DoF: 3}
	if err := r.FindPair(pts, setup); err != nil {
		t.Fatal(err)
	}
	text, err := json.Marshal(r)
	var back Result
	if err == nil {
		err = json.Unmarshal(text, &back)
	}
	a, b, p, _ := OppositePair(setup)
	z, ok := p.ZeroOf(back, a, b)
	if err != nil || !ok || back.Pair.Indicator != "near" || back.Pair.Less != "far" || math.Abs(z.MM-0.2) > 1e-12 ||
		math.Abs(z.UMM-0.001) > 1e-12 {
		t.Errorf("%v %v %+v %s", err, ok, z, text)
	}
	// 0.05 mm/m along the bar, with u of the zero and of one difference (the square root of three times 0.001 mm over 250 mm).
	l := z.Read(0.2 + 0.0125)
	if math.Abs(l.Slope.MMPerM()-0.05) > 1e-9 || math.Abs(l.U.MMPerM()-math.Sqrt(3)*0.004) > 1e-9 ||
		l.Expanded < 3*l.U || l.Expanded > 3.2*l.U {
		t.Errorf("%+v", l)
	}
	for name, bad := range map[string][]Point{"one end": pts[:2], "one indicator": {pts[0], pts[3]}, "nothing": nil} {
		if err := r.FindPair(bad, setup); err == nil {
			t.Errorf("%s: found", name)
		}
	}
	if err := r.FindPair(pts, Setup{Indicators: setup.Indicators[:1]}); err == nil {
		t.Error("a pair of one")
	}
	if _, ok := p.ZeroOf(Result{Tilt: r.Tilt, OffsetMM: []float64{1.5, math.NaN()}}, 0, 1); ok {
		t.Error("a zero without offsets")
	}
}
