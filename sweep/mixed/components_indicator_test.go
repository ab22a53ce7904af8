package mixed

import (
	"math"
	"math/rand/v2"
	"testing"

	"tramd/sweep"
	"tramd/sweep/uncertainty"
)

func component(t *testing.T, b uncertainty.Budget, name string) uncertainty.Component {
	t.Helper()
	for _, c := range b {
		if c.Name == name {
			return c
		}
	}
	t.Fatalf("no %s in the budget", name)
	return uncertainty.Component{}
}

// What is known of the indicator corrects the readings, and what is not becomes a line of the budget: shares by hand.
func TestIndicatorInTheBudget(t *testing.T) {
	r0 := rand.New(rand.NewPCG(3, 9))
	setup := oneArm(100)
	ind := &setup.Indicators[0]
	ind.MPEMM, ind.Factor, ind.FactorU, ind.StemDeg, ind.StemUDeg = 0.01, 0.98, 0.0049, 20, 1
	ind.Calibration = &sweep.Calibration{UMM: 0.0005, ShownMM: []float64{0, 10}, TrueMM: []float64{0, 10.1}}
	scale := 1.01 * 0.98 * math.Cos(sweep.Radians(20))
	var pts []sweep.Point
	for i := range 1000 {
		a := 2 * math.Pi * float64(i) / 1000
		z := (0.05*math.Cos(a) + 0.0005*r0.NormFloat64()) / scale
		pts = append(pts, sweep.Point{T: float64(i) / 50, Angle: a, Reading: 5 + z})
	}
	r, err := Fit(pts, setup)
	if err != nil {
		t.Fatal(err)
	}
	if got := r.Tilt.Slope.MMPerM(); math.Abs(got-0.5) > 0.001 {
		t.Errorf("tilt %v mm/m, want 0.5", got)
	}
	for name, want := range map[string]float64{
		"permissible error": 0,                                        // the certificate takes its place
		"calibration":       0.0005 * math.Sqrt2 / 200 * 1000,         // of a difference over 200 mm, in mm/m
		"lever factor":      0.5 * 0.005,                              //
		"stem angle":        0.5 * math.Tan(20*math.Pi/180) * 0.01746, // tan(a) u(a), the second order is small
	} {
		if got := component(t, r.Tilt.Budget, name).Contribution(); math.Abs(got-want) > 0.02*want+1e-9 {
			t.Errorf("%s contributes %v mm/m, want %v", name, got, want)
		}
	}
}

// A reading at the stated end of the travel is left out by name, and the rest still gives the lean.
func TestStatedTravel(t *testing.T) {
	setup := oneArm(100)
	setup.Indicators[0].TravelMM = []float64{0.01, 10}
	var pts []sweep.Point
	for i := range 720 {
		a := 2 * math.Pi * float64(i) / 720
		z := math.Max(0.01, 0.03+0.03*math.Cos(a))
		pts = append(pts, sweep.Point{T: float64(i) / 50, Angle: a, Reading: math.Round(1000*z) / 1000})
	}
	r, err := Fit(pts, setup)
	if err != nil {
		t.Fatal(err)
	}
	n := 0
	for _, x := range r.Rejections {
		if x.Code == "end_of_travel" {
			n += x.Readings
		}
	}
	if n < 150 || !warned(r, WarnEndOfTravel) {
		t.Errorf("%d readings at the end of travel, warnings %+v", n, r.Warnings)
	}
	if e := math.Abs(r.Tilt.Slope.MMPerM() - 0.3); e > r.Tilt.Expanded.MMPerM() {
		t.Errorf("tilt is off by %v mm/m, expanded %v", e, r.Tilt.Expanded.MMPerM())
	}
}
