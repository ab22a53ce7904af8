package finish

import (
	"testing"

	"tramd/sweep"
	"tramd/sweep/units"
)

// A fact of the trade (common practice, no source): 0.05 mm left to right over a circle of 280 mm is beyond what
// cutters of 4 to 8 mm show. It is 0.179 mm/m, and marks of no more than 0.0014 mm under the largest of them.
func TestWhatSmallCuttersDoNotShow(t *testing.T) {
	lean := units.Slope(0.05 / 280)
	for _, d := range []float64{4, 6, 8} {
		for _, stepover := range []float64{0.25 * d, 0.5 * d, d} {
			r, ok := Weigh(Cutter{Name: "flat", DiameterMM: d, StepoverMM: stepover, LimitMM: 0.005},
				&sweep.Axis{Slope: lean}, &sweep.Axis{})
			if !ok {
				t.Fatal("not weighed")
			}
			if r.HeightMM > 0.00143 || r.HeightMM <= 0 {
				t.Errorf("%g mm, stepover %g mm: marks of %.5f mm", d, stepover, r.HeightMM)
			}
			if r.Verdict != sweep.Within {
				t.Errorf("%g mm, stepover %g mm: %s on a limit of 0.005 mm", d, stepover, r.Verdict)
			}
		}
	}
}
