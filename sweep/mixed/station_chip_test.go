package mixed

import (
	"math"
	"math/rand/v2"
	"testing"
)

// A station on a chip twenty times as high as the others scatter is left out, and no other is.
func TestAStationOnAChipIsLeftOut(t *testing.T) {
	t.Parallel()
	for seed := range uint64(5) {
		r := rand.New(rand.NewPCG(seed, 23))
		var deg, mm []float64
		for i := range 12 {
			a := 30 * float64(i)
			deg, mm = append(deg, a), append(mm, 0.03*math.Cos(a*math.Pi/180)+0.001*r.NormFloat64())
		}
		mm[4] += 0.02
		got, err := Fit(stations(deg, mm), oneArm(100))
		if err != nil {
			t.Fatal(err)
		}
		if len(got.Rejections) != 1 || got.Rejections[0].Code != "raised" ||
			math.Abs(got.Rejections[0].FromDeg-deg[4]) > 1 {
			t.Errorf("seed %d: left out %+v", seed, got.Rejections)
		}
	}
}
