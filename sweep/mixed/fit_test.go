package mixed

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"tramd/sweep"
	"tramd/sweep/units"
)

func oneArm(radius float64) sweep.Setup {
	return sweep.Setup{Machine: "linnet",
		Indicators: []sweep.Indicator{{Name: "arm", RadiusMM: radius, ResolutionMM: 0.001}}}
}

func warned(r sweep.Result, code string) bool {
	for _, w := range r.Warnings {
		if w.Code == code {
			return true
		}
	}
	return false
}

// stations gives readings z at angles deg, ten seconds apart.
func stations(deg, z []float64) []sweep.Point {
	var pts []sweep.Point
	for i := range deg {
		pts = append(pts, sweep.Point{T: 10 * float64(i), Angle: sweep.Radians(deg[i]), Reading: z[i]})
	}
	return pts
}

// At n equal angles the harmonic of order n-1 shows as lean of its full amplitude, and no other below it shows at all
// (the closed form of the discrete Fourier sum). The model must give that sum, and leave room for the harmonic it
// cannot see.
func TestAliasing(t *testing.T) {
	t.Parallel()
	for _, n := range []int{4, 5, 8} {
		for order := 2; order <= n; order++ {
			var deg, z []float64
			var closed float64
			for i := range n {
				a := 2 * math.Pi * float64(i) / float64(n)
				deg, z = append(deg, sweep.Degrees(a)), append(z, 0.002*math.Cos(float64(order)*a))
				closed += 2 / float64(n) * z[i] * math.Cos(a)
			}
			f := fittingOf(t, stations(deg, z), oneArm(100))
			l := newLevels(f.bs)
			l.drift = []float64{1e-9} // in one turn of stations drift and form are told apart by prior alone
			s := searcher{d: f.d, bs: f.bs, l: l, known: f.known, gram: map[noiseLevel]white{}}
			p := s.at(hyper{form: 3, fall: 1})
			want := 0.0
			if order == n-1 {
				want = 0.002
			}
			if math.Abs(closed-want) > 1e-12 {
				t.Fatalf("n %d order %d: the closed form gives %v", n, order, closed)
			}
			if got := p.lean[0]; math.Abs(got-want) > 1e-9 {
				t.Errorf("n %d order %d: tilt %v mm, want %v", n, order, got, want)
			}
			if u := f.ans.terms.HalfWidth(0, confidence); n == 4 && order == 3 && u < 0.002 {
				t.Errorf(
					"the third harmonic of 0.002 mm, which four stations take for lean, is outside their interval of %v mm", u)
			}
		}
	}
}

// fittingOf runs a fit and gives its inside.
func fittingOf(t *testing.T, pts []sweep.Point, setup sweep.Setup) *fitting {
	t.Helper()
	in, err := check(pts, setup)
	if err != nil {
		t.Fatal(err)
	}
	segs, st, groups := clean(in)
	f := &fitting{in: in, segs: segs, start: st, groups: groups, axes: [2]bool{true, true}}
	f.solve()
	return f
}

// Turning all angles turns the lean, and adding a constant moves only the offset.
func TestTurnAndShift(t *testing.T) {
	f := families()[5]
	tr := f.draw(rand.New(rand.NewPCG(21, 1)))
	before, err := Fit(tr.pts, tr.setup)
	if err != nil {
		t.Fatal(err)
	}
	moved := append([]sweep.Point(nil), tr.pts...)
	for i := range moved {
		moved[i].Angle += math.Pi / 2
		moved[i].Reading += 2
	}
	after, err := Fit(moved, tr.setup)
	if err != nil {
		t.Fatal(err)
	}
	u := float64(before.Tilt.U)
	if d := math.Abs(float64(after.Nod.Slope - before.Tilt.Slope)); d > 0.05*u {
		t.Errorf("tilt became nod but for %v u", d/u)
	}
	if d := math.Abs(float64(after.Tilt.Slope + before.Nod.Slope)); d > 0.05*u {
		t.Errorf("nod became minus tilt but for %v u", d/u)
	}
	if d := after.OffsetMM[0] - before.OffsetMM[0] - 2; math.Abs(d) > 1e-4 {
		t.Errorf("the offset moved by 2 mm and %v", d)
	}
}

func TestOppositePair(t *testing.T) {
	// 0.05 mm left to right over a circle of 280 mm is 0.179 mm/m.
	r, err := Fit(stations([]float64{0, 180}, []float64{0.05, 0}), oneArm(140))
	if err != nil {
		t.Fatal(err)
	}
	if r.Nod != nil || r.Lean != nil || r.Tilt == nil {
		t.Fatalf("two stations on X: tilt %v nod %v lean %v", r.Tilt, r.Nod, r.Lean)
	}
	if got := r.Tilt.Slope.MMPerM(); math.Abs(got-0.05/0.28) > 1e-6 {
		t.Errorf("tilt %v mm/m", got)
	}
	if !(r.Tilt.Expanded.MMPerM() > 0.01) {
		t.Errorf("two readings give an interval of only %v mm/m", r.Tilt.Expanded.MMPerM())
	}
	if !warned(r, sweep.WarnAxisNotMeasured) || !warned(r, WarnAssumed) {
		t.Errorf("warnings %+v", r.Warnings)
	}
}

// The reversal worked by hand: spindle 0.10 and -0.04 mm/m, plate 0.03 and 0.05 mm/m, radius 100 mm. With the plate as
// it lay the sum shows, with it turned the difference: 0.13 and 0.01, then 0.07 and -0.09.
func TestReversalByHand(t *testing.T) {
	at := []float64{0, 90, 180, 270}
	sum := stations(at, []float64{0.013, 0.001, -0.013, -0.001})
	diff := stations(at, []float64{0.007, -0.009, -0.007, 0.009})
	setup := oneArm(100)
	setup.Indicators[0].RadiusUMM = 1
	a, err := Fit(sum, setup)
	if err != nil {
		t.Fatal(err)
	}
	b, err := Fit(diff, setup)
	if err != nil {
		t.Fatal(err)
	}
	s, err := Reverse(a, b, units.Tolerance{})
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		name string
		axis *sweep.Axis
		want float64
	}{{"spindle tilt", s.SpindleTilt, 0.10}, {"spindle nod", s.SpindleNod, -0.04}, {"plate tilt", s.PlateTilt, 0.03},
		{"plate nod", s.PlateNod, 0.05}} {
		if got := c.axis.Slope.MMPerM(); math.Abs(got-c.want) > 1e-6 {
			t.Errorf("%s %v mm/m, want %v", c.name, got, c.want)
		}
	}
	// The radius errs alike in both: 1 % of the spindle's 0.10 mm/m stays.
	for _, c := range s.SpindleTilt.Budget {
		if c.Name == "radius" && math.Abs(c.Contribution()-0.001) > 1e-7 {
			t.Errorf("radius contributes %v mm/m, want 0.001", c.Contribution())
		}
	}
	if _, err := Reverse(a, sweep.Result{}, units.Tolerance{}); err == nil {
		t.Error("a reversal with one sweep was accepted")
	}
}

func TestRefused(t *testing.T) {
	nan := math.NaN()
	ring := func(n int, deg float64) (out []float64) {
		for i := range n {
			out = append(out, deg*float64(i)/float64(n))
		}
		return out
	}
	for _, c := range []struct {
		name  string
		pts   []sweep.Point
		setup sweep.Setup
		want  string
	}{
		{"nothing", nil, oneArm(100), "no readings"},
		{"no radius", stations([]float64{0, 90, 180}, make([]float64, 3)), oneArm(0), "radius"},
		{"no indicator", stations([]float64{0}, []float64{0}), sweep.Setup{}, "indicator"},
		{"not a number", stations([]float64{0, 90, 180}, []float64{0, nan, 0}), oneArm(100), "reading 2"},
		{"infinite angle", stations([]float64{0, math.Inf(1), 180}, make([]float64, 3)), oneArm(100), "angle"},
		{"no angle known", stations([]float64{nan, nan, nan}, make([]float64, 3)), oneArm(100), "angle"},
		{"one station repeated", stations([]float64{30, 30, 30, 30}, []float64{1, 2, 3, 4}), oneArm(100),
			"one spindle angle"},
		{"two stations, not opposite", stations([]float64{0, 90}, []float64{1, 2}), oneArm(100), "angles"},
		{"small arc", stations(ring(50, 60), make([]float64, 50)), oneArm(100), "arc"},
		{"indicator not in the setup", []sweep.Point{{Indicator: 3}}, oneArm(100), "indicator number 4"},
	} {
		if r, err := Fit(c.pts, c.setup); err == nil {
			t.Errorf("%s: accepted, tilt %+v", c.name, r.Tilt)
		} else if !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %q does not speak of %q", c.name, err, c.want)
		}
	}
}

func TestWarned(t *testing.T) {
	t.Parallel()
	tight := oneArm(100)
	tight.Tolerance = units.Tolerance{Limit: 1 * units.MMPerM, Text: "1 mm/m"}
	r, err := Fit(stations([]float64{0, 90, 180, 270}, []float64{1, 1, 1, 1}), tight)
	if err != nil {
		t.Fatal(err)
	}
	if !warned(r, WarnAllEqual) || r.Verdict != sweep.Undecided || !(r.Tilt.Expanded > 0) {
		t.Errorf("all equal: verdict %s, expanded %v, warnings %+v", r.Verdict, r.Tilt.Expanded, r.Warnings)
	}
	pts := stations([]float64{0, 90, 180, 270}, []float64{0, 1, 0, -1})
	pts[2].T = -5
	if r, err = Fit(pts, oneArm(100)); err != nil || !warned(r, WarnTimeBackwards) {
		t.Errorf("time backwards: %v, warnings %+v", err, r.Warnings)
	}
	pts = append(stations([]float64{0, 90, 180, 270}, []float64{0, 1, 0, -1}), sweep.Point{T: 50, Angle: math.NaN()})
	if r, err = Fit(pts, oneArm(100)); err != nil || !warned(r, sweep.WarnUnknownAngle) || r.Rejected != 1 ||
		r.Readings != 4 {
		t.Errorf("unknown angle: %v, rejected %d of %d, warnings %+v", err, r.Rejected, r.Readings, r.Warnings)
	}
}

// A pooled repeatability replaces the general one and narrows a sweep of few stations when it is small.
func TestBorrowedRepeatability(t *testing.T) {
	pts := stations([]float64{0, 90, 180, 270}, []float64{0.0101, 0.0002, -0.0098, 0.0001})
	alone, err := Fit(pts, oneArm(100))
	if err != nil {
		t.Fatal(err)
	}
	with, err := FitWith(pts, oneArm(100), Options{RepeatabilityMM: 0.0003, RepeatabilityDoF: 40})
	if err != nil {
		t.Fatal(err)
	}
	if !(with.Tilt.Expanded < alone.Tilt.Expanded) || !warned(with, WarnBorrowed) || warned(alone, WarnBorrowed) {
		t.Errorf("expanded %v with, %v without; warnings %+v", with.Tilt.Expanded, alone.Tilt.Expanded, with.Warnings)
	}
}
