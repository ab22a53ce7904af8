package mixed

import (
	"encoding/binary"
	"math"
	"testing"

	"tramd/sweep"
)

// FuzzFit holds any bytes, read as readings, to this: an error, or finite numbers with an interval that is not empty.
func FuzzFit(f *testing.F) {
	f.Add([]byte{}, 100.0, 0.001)
	f.Add([]byte{0, 0, 0, 0, 64, 0, 0, 1, 128, 0, 0, 2, 192, 0, 0, 3}, 100.0, 0.01)
	f.Add([]byte{0, 0, 0, 0, 255, 255, 255, 255, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12}, 1e-3, 0.0)
	f.Fuzz(func(t *testing.T, data []byte, radius, resolution float64) {
		setup := oneArm(radius)
		setup.Indicators[0].ResolutionMM = resolution
		setup.Indicators = append(setup.Indicators, sweep.Indicator{RadiusMM: 80, PhaseDeg: 180, ResolutionMM: 0.001})
		if len(data) > 400 {
			data = data[:400]
		}
		var pts []sweep.Point
		for i := 0; i+4 <= len(data); i += 4 {
			z := float64(int16(binary.LittleEndian.Uint16(data[i+2:]))) / 1000
			if data[i+1] == 251 {
				z *= 1e200
			}
			angle := float64(data[i]) / 40 * (1 + float64(data[i+1]%3))
			if data[i+1] == 250 {
				angle = math.NaN()
			}
			pts = append(pts, sweep.Point{T: float64(i) + float64(data[i+1]), Angle: angle, Reading: z,
				Indicator: int(data[i+1]) % 2})
		}
		r, err := Fit(pts, setup)
		if err != nil {
			return
		}
		for _, a := range []*sweep.Axis{r.Tilt, r.Nod} {
			if a == nil {
				continue
			}
			if s, u := float64(a.Slope), float64(a.Expanded); bad(s) || bad(u) || !(u > 0) {
				t.Fatalf("slope %v expanded %v from %d readings", s, u, len(pts))
			}
		}
		if _, err := r.MarshalJSON(); err != nil {
			t.Fatal(err)
		}
	})
}
