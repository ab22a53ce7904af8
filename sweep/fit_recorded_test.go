package sweep

import (
	"math"
	"os"
	"path/filepath"
	"testing"
)

// Recorded sweeps of the demo's workshop, made with the truth that stands in the first lines of each.
func TestRecordedSweeps(t *testing.T) {
	long := Indicator{Name: "long", RadiusMM: 140, ResolutionMM: 0.001}
	short := Indicator{Name: "short", RadiusMM: 100, PhaseDeg: 180, ResolutionMM: 0.001}
	for _, c := range []struct {
		file                string
		indicators          []Indicator
		tilt, nod           float64 // mm/m; NaN: not measured
		readings, rejected  int
		coverage            float64
		warned              string
		expandedAtMostMMPM  float64
		expandedAtLeastMMPM float64
	}{
		{"linnet_dense.csv", []Indicator{{RadiusMM: 120, ResolutionMM: 0.0005}}, 0.21, -0.09, 1500, 0, 352, "",
			0.0008, 0.0005},
		{"wren_stations.csv", []Indicator{{RadiusMM: 90, ResolutionMM: 0.001}}, -0.05, 0.14, 9, 0, 360, "",
			0.03, 0.005},
		{"wren_two_opposite.csv", []Indicator{{RadiusMM: 140, ResolutionMM: 0.001}}, 0.1786, math.NaN(), 2, 0, 180,
			WarnAxisNotMeasured + " " + WarnNoRepeatability, 0.004, 0.002},
		{"linnet_two_indicators.csv", []Indicator{short, long}, 0.3, 0.1, 1424, 16, 359.5, WarnUnknownAngle,
			0.0008, 0.0005},
	} {
		t.Run(c.file, func(t *testing.T) {
			f, err := os.Open(filepath.Join("../testdata/sweeps", c.file))
			if err != nil {
				t.Fatal(err)
			}
			defer f.Close()
			res, err := FitPlainCSV(f, Setup{Indicators: c.indicators})
			if err != nil {
				t.Fatal(err)
			}
			for i, axis := range []*Axis{res.Tilt, res.Nod} {
				truth := [2]float64{c.tilt, c.nod}[i]
				if math.IsNaN(truth) {
					if axis != nil {
						t.Errorf("axis %d was measured: %+v", i, *axis)
					}
					continue
				}
				if axis == nil {
					t.Fatalf("axis %d was not measured", i)
				}
				u := axis.Expanded.MMPerM()
				near(t, "lean", axis.Slope.MMPerM(), truth, 1.5*u) // a fixed draw: 1.5 U spares one in twenty
				if u > c.expandedAtMostMMPM || u < c.expandedAtLeastMMPM {
					t.Errorf("expanded uncertainty %v mm/m, want %v to %v", u, c.expandedAtLeastMMPM,
						c.expandedAtMostMMPM)
				}
			}
			if res.Readings != c.readings || res.Rejected != c.rejected || codes(res) != c.warned {
				t.Errorf("%d readings, %d rejected, warnings %q", res.Readings, res.Rejected, codes(res))
			}
			near(t, "coverage", Degrees(res.Coverage), c.coverage, 1.01)
		})
	}
}
