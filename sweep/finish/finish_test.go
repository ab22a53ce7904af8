package finish

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"tramd/sweep"
	"tramd/sweep/units"
)

// Figures derived elsewhere and checked there by brute force; no handbook value was obtained. 0.02/300 is 66.67 urad.
func TestHollowAndStep(t *testing.T) {
	tol, err := units.ParseTolerance("0.02/300")
	if err != nil {
		t.Fatal(err)
	}
	for _, tc := range []struct{ d, w, um float64 }{{100, 60, 0.667}, {100, 100, 3.333}, {200, 150, 2.257}} {
		if got := 1000 * Hollow(tc.d, tc.w, tol.Limit); math.Abs(got-tc.um) > 6e-4 {
			t.Errorf("D %v w %v: %.4f um, want %v", tc.d, tc.w, got, tc.um)
		}
	}
	// A stepover of 70 mm leaning across: 4.667 um.
	if m := Along(Cutter{DiameterMM: 100, StepoverMM: 70}, 0, tol.Limit); math.Abs(1000*m.StepMM-4.667) > 4e-4 ||
		math.Abs(m.HeightMM-m.StepMM) > 1e-12 {
		t.Errorf("%+v", m)
	}
	if m := Along(Cutter{DiameterMM: 100, StepoverMM: 60}, tol.Limit, 0); math.Abs(m.HeightMM-m.HollowMM) > 1e-12 ||
		math.Abs(1000*m.SlotMM-3.333) > 4e-4 {
		t.Errorf("%+v", m)
	}
	// Common practice, no source: 0.05 mm over a 280 mm circle is beyond what cutters of 4 to 8 mm show.
	for _, d := range []float64{4, 6, 8} {
		s := units.Slope(0.05 / 280)
		if m := Along(Cutter{DiameterMM: d, StepoverMM: d / 2}, s, s); m.HeightMM > 0.002 {
			t.Errorf("D %v: %v mm", d, m.HeightMM)
		}
	}
}

// A flat disc turned as a rigid body, carried along pass after pass: points of its face cut whatever lies above them.
func sweepDisc(r, e, along, across float64) (height float64) {
	const cells, rings, spokes = 1200, 2,
		60000 // the rim must be dense: each cell keeps the lowest point that fell in it
	const passes = 9
	// The surface over one stepover in the middle of the field, by distance across the feed.
	floor := make([]float64, cells)
	for i := range floor {
		floor[i] = math.Inf(1)
	}
	// Two perpendicular directions of the leaning face: unit vectors square to (along, across, 1).
	u := [3]float64{1, 0, -along}
	n := math.Sqrt(1 + along*along)
	for i := range u {
		u[i] /= n
	}
	nz := [3]float64{along, across, 1}
	v := [3]float64{nz[1]*u[2] - nz[2]*u[1], nz[2]*u[0] - nz[0]*u[2], nz[0]*u[1] - nz[1]*u[0]}
	n = math.Sqrt(v[0]*v[0] + v[1]*v[1] + v[2]*v[2])
	for i := range v {
		v[i] /= n
	}
	for ring := range rings + 1 {
		rho := r * float64(ring) / rings
		for spoke := range spokes {
			sin, cos := math.Sincos(2 * math.Pi * float64(spoke) / spokes)
			y := rho * (cos*u[1] + sin*v[1])
			z := rho * (cos*u[2] + sin*v[2])
			for k := -passes / 2; k <= passes/2; k++ {
				cell := int(math.Floor((y + float64(k)*e) / e * cells))
				if cell >= 0 && cell < cells {
					floor[cell] = math.Min(floor[cell], z)
				}
			}
		}
	}
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, z := range floor {
		lo, hi = math.Min(lo, z), math.Max(hi, z)
	}
	return hi - lo
}

func TestTheMarkIsThatOfADiscSweptAlong(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	for range 15 {
		c := Cutter{DiameterMM: 4 + 96*r.Float64()}
		c.StepoverMM = c.DiameterMM * (0.3 + 0.65*r.Float64())
		size, azimuth := 1e-3*(0.05+r.Float64()), 2*math.Pi*r.Float64()
		tilt, nod := size*math.Cos(azimuth), size*math.Sin(azimuth)
		for _, feed := range [2][2]float64{{tilt, nod}, {nod, tilt}} {
			got := Along(c, units.Slope(feed[0]), units.Slope(feed[1])).HeightMM
			want := sweepDisc(c.DiameterMM/2, c.StepoverMM, feed[0], feed[1])
			if math.Abs(got-want) > 0.01*c.DiameterMM*size {
				t.Errorf("%+v lean %v: %.6f mm, by the swept disc %.6f", c, feed, got, want)
			}
		}
	}
}

func TestGoodEnoughForACutter(t *testing.T) {
	axis := func(s, u float64) *sweep.Axis {
		return &sweep.Axis{Slope: units.Slope(s * 1e-3), Expanded: units.Slope(u * 1e-3)}
	}
	c := Cutter{Name: "surfacing", DiameterMM: 50, StepoverMM: 40, LimitMM: 0.01}
	for _, tc := range []struct {
		name string
		tilt float64
		u    float64
		want sweep.Verdict
	}{{"small", 0.1, 0.02, sweep.Within}, {"large", 0.5, 0.02, sweep.Outside},
		{"between", 0.25, 0.1, sweep.Undecided}} {
		r, ok := Weigh(c, axis(tc.tilt, tc.u), axis(0, tc.u))
		if !ok || r.Verdict != tc.want || r.LowestMM > r.HeightMM || r.HeightMM > r.HighestMM ||
			!strings.Contains(r.Say, "surfacing") {
			t.Errorf("%s: %v %+v", tc.name, ok, r)
		}
	}
	if _, ok := Weigh(c, nil, axis(0, 0)); ok {
		t.Error("an axis that was not measured was weighed")
	}
	c.LimitMM = 0
	if r, ok := Weigh(c, axis(9, 0), axis(0, 0)); !ok || r.Verdict != sweep.None {
		t.Errorf("no limit, no verdict: %+v", r)
	}
	for _, wrong := range []Cutter{{}, {DiameterMM: 4}, {DiameterMM: 4, StepoverMM: 5},
		{DiameterMM: math.NaN(), StepoverMM: 1}, {DiameterMM: 4, StepoverMM: 1, LimitMM: -1}} {
		if wrong.Validate() == nil {
			t.Errorf("%+v was accepted", wrong)
		}
	}
}
