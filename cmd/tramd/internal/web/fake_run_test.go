package web

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"time"

	"tramd/sweep"
	"tramd/sweep/uncertainty"
	"tramd/sweep/units"
)

// demoForm is the shape of the demo table along the circle.
var demoForm = []sweep.Harmonic{{Order: 2, AmplitudeMM: 0.0031, PhaseDeg: 31.5},
	{Order: 3, AmplitudeMM: 0.0012, PhaseDeg: 75}}

func demoFormAt(a float64) (z float64) {
	for _, h := range demoForm {
		z += h.AmplitudeMM * math.Cos(float64(h.Order)*(a-sweep.Radians(h.PhaseDeg)))
	}
	return z
}

func demoFormPV() float64 {
	low, high := math.Inf(1), math.Inf(-1)
	for d := range 360 {
		low, high = min(low, demoFormAt(sweep.Radians(float64(d)))), max(high, demoFormAt(sweep.Radians(float64(d))))
	}
	return high - low
}

// demoNoiseMM is the scatter of the demo readings about their curve.
const demoNoiseMM = 0.0008

func demoBudget(own, other float64) uncertainty.Budget {
	known := math.Inf(1)
	return uncertainty.Budget{
		{Name: "repeatability", Type: uncertainty.A, U: 0.00031, Unit: "mm", Sensitivity: 1000.0 / 120, DoF: 38,
			Note: "scatter and slow noise of the readings about the fit"},
		{Name: "warming", Type: uncertainty.A, U: 0.00012, Unit: "mm", Sensitivity: 1000.0 / 120, DoF: 6.4,
			Note: "slow drift during the sweep; the closure is what it comes to over the whole"},
		{Name: "resolution", Type: uncertainty.B, U: 0.001 / math.Sqrt(12), Unit: "mm", Sensitivity: 0.61, DoF: known,
			Note: "rectangular over one step, less what the noise of the readings averages out"},
		{Name: "permissible error", Type: uncertainty.B, U: 0.0004, Unit: "mm", Sensitivity: 500.0 / 120, DoF: known,
			Note: "rectangular on the difference of two readings across the circle"},
		{Name: "radius", Type: uncertainty.B, U: 0.5, Unit: "mm", Sensitivity: -own / 120, DoF: known,
			Note: "as stated in the setup"},
		{Name: "angle", Type: uncertainty.B, U: 0.11, Unit: "deg", Sensitivity: other * math.Pi / 180, DoF: known},
		{Name: "stem angle", Type: uncertainty.B, U: 4.1e-4, Unit: "1", Sensitivity: own, DoF: known,
			Note: "cosine of an angle within 3 degrees"},
	}
}

func budgeted(mmPerM, other, conformity float64, v sweep.Verdict) *sweep.Axis {
	b := demoBudget(mmPerM, other)
	half, _ := b.Expanded(0.95)
	return &sweep.Axis{
		Slope: units.Slope(mmPerM) * units.MMPerM, U: units.Slope(b.Combined()) * units.MMPerM,
		Expanded: units.Slope(half) * units.MMPerM,
		Verdict:  v, Conformity: &conformity, Budget: b,
	}
}

// runInFull is a stored sweep of the demo workshop with everything a result can say. Run 8 has a budget that does not
// add up and a probability lost in rounding, run 9 was abandoned and has no result, run 10 is long.
func runInFull(id int64) any {
	run := map[string]any{
		"id": id, "kind": "sweep", "purpose": "check", "outcome": "finished", "clock_set": true,
		"tolerance": "0.02/300", "why": "", "note": "after the new shim", "temperature_c": 21.5,
		"started_at": time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC),
		"ended_at":   time.Date(2026, 3, 2, 9, 1, 12, 0, time.UTC), "readings": 720, "untagged": 8,
		"setup": sweep.Setup{
			Machine: "linnet", AngleSource: "encoder", Surface: "bed",
			Indicators: []sweep.Indicator{{Name: "arm", RadiusMM: 120, RadiusUMM: 0.5, ResolutionMM: 0.001,
				PhaseDeg: 30}},
		},
	}
	if id == 9 {
		run["outcome"], run["why"], run["result"] = "abandoned", "abandoned by the person at 140 degrees", nil
		return run
	}
	r := result(0.0604, -0.0212, 0.0083)
	r.Model, r.ModelVersion = "full", 3
	r.Tilt, r.Nod = budgeted(0.0604, -0.0212, 0.9137, sweep.Undecided), budgeted(-0.0212, 0.0604, 0.99997, sweep.Within)
	k := float64(r.Tilt.Expanded / r.Tilt.U)
	r.Verdict, r.Conformity, r.CoverageFactor, r.DoF = sweep.Undecided, ptr(0.9136), k, r.Tilt.Budget.DoF()
	r.Form, r.FormPVMM, r.Readings, r.Rejected = demoForm, demoFormPV(), 680, 40
	r.Rejections = []sweep.Rejection{
		{Code: "no_angle", FromS: 0, ToS: 0.7, Readings: 8},
		{Code: "hollow", FromS: 20, ToS: 22.9, FromDeg: 100, ToDeg: 114.5, Readings: 30},
		{Code: "spike_up", FromS: 40.1, ToS: 40.1, FromDeg: 200.5, ToDeg: 200.5, Readings: 1},
		{Code: "knock_of_a_later_version", FromS: 71.9, ToS: 71.9, FromDeg: 359.5, ToDeg: 359.5, Readings: 1},
	}
	r.Warnings = []sweep.Warning{{Code: "off_surface",
		Text: "readings left out as off the surface: 30 (30 below: slots, holes; 0 above: chips, burrs)"}}
	switch id {
	case 8: // stored by something that combined other than it listed
		r.Tilt.U *= 2
		r.Nod.Conformity = ptr(0.0)
	case 10:
		run["readings"] = 20001
	}
	run["result"] = r
	return run
}

// readingsInFull are the readings of runInFull: its lean, its form, noise, a slot and a chip.
func readingsInFull() string {
	rng := rand.New(rand.NewPCG(9, 12))
	var b strings.Builder
	b.WriteString(sweep.CSVHeader + "\n")
	for i := range 720 {
		t, deg := float64(i)/10, float64(i)/2
		a := sweep.Radians(deg + 30)
		z := 1.2 + 0.120*(0.0604*math.Cos(a)-0.0212*math.Sin(a)) + demoFormAt(a) + demoNoiseMM*rng.NormFloat64()
		switch {
		case i >= 200 && i < 230:
			z -= 0.4
		case i == 401:
			z += 0.05
		}
		angle := fmt.Sprintf("%.4f", deg)
		if i < 8 {
			angle = ""
		}
		fmt.Fprintf(&b, "%.6f,%s,%.6f,arm\n", t, angle, z)
	}
	return b.String()
}
