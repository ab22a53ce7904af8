package sweep_test

import (
	"encoding/json"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"tramd/sweep"
	"tramd/sweep/mixed"
	"tramd/sweep/units"
)

// turned gives a circle of readings of a lean, with angles that are off by so many degrees, and noise.
func turned(tilt, nod, offDeg, noiseMM float64, seed uint64) []sweep.Point {
	rng := rand.New(rand.NewPCG(seed, 7))
	var pts []sweep.Point
	for i := range 372 {
		th := sweep.Radians(float64(i))
		z := 1 + 120*(tilt*math.Cos(th)+nod*math.Sin(th)) + noiseMM*rng.NormFloat64()
		pts = append(pts, sweep.Point{T: float64(i) * 0.02, Angle: th + sweep.Radians(offDeg), Reading: z})
	}
	return pts
}

func armSetup(zero *sweep.Zero) sweep.Setup {
	tol, err := units.ParseTolerance("0.1 mrad")
	if err != nil {
		panic(err)
	}
	return sweep.Setup{Machine: "linnet", Tolerance: tol, AngleSource: "encoder", Zero: zero,
		Indicators: []sweep.Indicator{{Name: "arm", RadiusMM: 120, ResolutionMM: 0.001}}}
}

var models = map[string]func([]sweep.Point, sweep.Setup) (sweep.Result, error){
	"plain": sweep.FitPlain, "full": mixed.Fit}

// With an encoder whose zero points to the back, a tilt was shown as a nod. Now a size is shown, and no direction.
func TestWithoutAZeroTheLeanHasASizeAndNoDirection(t *testing.T) {
	for name, fit := range models {
		r, err := fit(turned(0.35e-3, -0.22e-3, 90, 0.0003, 1), armSetup(&sweep.Zero{From: sweep.ZeroUnknown}))
		if err != nil {
			t.Fatal(name, err)
		}
		if r.Tilt != nil || r.Nod != nil || r.Lean == nil || !math.IsNaN(r.Lean.Azimuth) {
			t.Errorf("%s: tilt %v, nod %v, lean %+v: a direction is claimed", name, r.Tilt, r.Nod, r.Lean)
			continue
		}
		if off := math.Abs(r.Lean.Slope.MMPerM() - math.Hypot(0.35, 0.22)); off > r.Lean.Expanded.MMPerM() ||
			r.Lean.Expanded.MMPerM() > 0.01 {
			t.Errorf("%s: size %v ± %v", name, r.Lean.Slope.MMPerM(), r.Lean.Expanded.MMPerM())
		}
		if r.Verdict != sweep.Outside {
			t.Errorf("%s: verdict %s: a lean of four times the limit is outside whatever its direction",
				name, r.Verdict)
		}
		text, err := json.Marshal(r)
		if err != nil {
			t.Fatal(err)
		}
		for _, want := range []string{`"tilt":null`, `"nod":null`, `"azimuth_deg":null`, `"code":"zero_unknown"`} {
			if !strings.Contains(string(text), want) {
				t.Errorf("%s: no %s in %s", name, want, text)
			}
		}
		var back sweep.Result
		if err := json.Unmarshal(text, &back); err != nil || back.Lean == nil || !math.IsNaN(back.Lean.Azimuth) ||
			back.Lean.Expanded == 0 {
			t.Errorf("%s: read back: %+v, %v", name, back.Lean, err)
		}
	}
}

func TestTheVerdictOnASizeHoldsForEveryDirection(t *testing.T) {
	for _, x := range []struct {
		size float64 // in limits
		want sweep.Verdict
	}{{0.5, sweep.Within}, {0.9, sweep.Within}, {1.2, sweep.Undecided}, {1.35, sweep.Undecided}, {1.6, sweep.Outside}} {
		for _, deg := range []float64{0, 30, 45, 90, 200} {
			a := sweep.Radians(deg)
			r, err := sweep.FitPlain(turned(x.size*1e-4*math.Cos(a), x.size*1e-4*math.Sin(a), 0, 0.0003, 2),
				armSetup(&sweep.Zero{From: sweep.ZeroUnknown}))
			if err != nil || r.Verdict != x.want {
				t.Errorf("%.2f limits at %v degrees: %s, %v; want %s", x.size, deg, r.Verdict, err, x.want)
			}
		}
	}
}

// The interval of the size holds the true size in at least 95 of 100 sweeps, a lean of nothing included.
func TestTheIntervalOfASizeHoldsTheTruth(t *testing.T) {
	for _, size := range []float64{0, 1e-6, 5e-6, 1e-4} {
		held, n := 0, 400
		for seed := range uint64(n) {
			r, err := sweep.FitPlain(turned(size, 0, 77, 0.002, seed), armSetup(&sweep.Zero{From: sweep.ZeroUnknown}))
			if err != nil {
				t.Fatal(err)
			}
			if math.Abs(float64(r.Lean.Slope)-size) <= float64(r.Lean.Expanded) {
				held++
			}
		}
		if held < n*93/100 { // 0.95 less two standard deviations of a count
			t.Errorf("size %v: held in %d of %d", size, held, n)
		}
	}
}

// An arm that a person points right by eye stands within some degrees of it, and the interval covers that.
func TestAPointedZeroIsCoveredByTheInterval(t *testing.T) {
	const n = 200
	for name, fit := range models {
		rng := rand.New(rand.NewPCG(3, 4))
		held, loose := 0, 0
		for seed := range uint64(n) {
			off := sweep.PointedUDeg * rng.NormFloat64()
			pts := turned(0.05e-3, -0.4e-3, off, 0.0003, seed)
			pointed, err := fit(pts, armSetup(&sweep.Zero{From: sweep.ZeroPointed, UDeg: sweep.PointedUDeg}))
			if err != nil {
				t.Fatal(name, err)
			}
			if math.Abs(float64(pointed.Tilt.Slope)-0.05e-3) <= float64(pointed.Tilt.Expanded) {
				held++
			}
			if seed < 20 {
				sure, err := fit(pts, armSetup(nil))
				if err != nil {
					t.Fatal(name, err)
				}
				if math.Abs(float64(sure.Tilt.Slope)-0.05e-3) <= float64(sure.Tilt.Expanded) {
					loose++
				}
			}
		}
		if held < n*92/100 {
			t.Errorf("%s: held in %d of %d", name, held, n)
		}
		if loose > 12 {
			t.Errorf("%s: without the zero's part %d of 20 hold: the test shows nothing", name, loose)
		}
	}
}
