package mixed

import (
	"math"
	"math/rand/v2"
	"testing"

	"tramd/sweep"
)

// Angles written from 0 to 360 degrees give what the same angles counted on give, and no reading is taken for one the
// other way round.
func TestAnglesFromZeroTo360(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 8))
	var on, wrapped []sweep.Point
	for i := range 1000 {
		th := 4 * math.Pi * (1 - math.Abs(1-float64(i)/500))
		z := 0.05*math.Cos(th) + 0.02*math.Sin(th) + 0.001*r.NormFloat64()
		if i < 500 {
			z += 0.004
		}
		on = append(on, sweep.Point{T: 0.04 * float64(i), Angle: th, Reading: math.Round(1000*z) / 1000})
		p := on[i]
		p.Angle = math.Mod(th, 2*math.Pi)
		wrapped = append(wrapped, p)
	}
	for _, b := range fittingOf(t, wrapped, oneArm(100)).bs {
		if (b.t < 20) != (b.dir > 0) && math.Abs(b.t-20) > 0.2 {
			t.Errorf("at %.2f s the direction is %v", b.t, b.dir)
		}
	}
	a, err := Fit(on, oneArm(100))
	if err != nil {
		t.Fatal(err)
	}
	b, err := Fit(wrapped, oneArm(100))
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		name string
		x, y float64
	}{
		{"tilt", float64(a.Tilt.Slope), float64(b.Tilt.Slope)}, {"nod", float64(a.Nod.Slope), float64(b.Nod.Slope)},
		{"tilt's half width", float64(a.Tilt.Expanded), float64(b.Tilt.Expanded)},
	} {
		if math.Abs(c.x-c.y) > 1e-4*float64(a.Tilt.Expanded) {
			t.Errorf("%s: %v counted on, %v from 0 to 360 degrees", c.name, c.x, c.y)
		}
	}
	if warned(b, WarnDelay) || (a.Turns == nil) != (b.Turns == nil) {
		t.Errorf("warnings %+v; turns %v counted on, %v from 0 to 360 degrees", b.Warnings, a.Turns, b.Turns)
	}
}

// A stretch that was lost is no end of the scale.
func TestUnwindLeavesGaps(t *testing.T) {
	d := math.Pi / 180
	for _, c := range []struct{ th, want []float64 }{
		{[]float64{0, 90 * d, 180 * d, 270 * d, 0}, []float64{0, 90 * d, 180 * d, 270 * d, 0}},
		{[]float64{10 * d, 100 * d, 300 * d, 350 * d}, []float64{10 * d, 100 * d, 300 * d, 350 * d}},
		{[]float64{300 * d, 350 * d, 20 * d, 350 * d}, []float64{300 * d, 350 * d, 380 * d, 350 * d}},
		{[]float64{0, 200 * d, 400 * d, 20 * d}, []float64{0, 200 * d, 400 * d, 20 * d}},
	} {
		tr := track{th: append([]float64(nil), c.th...)}
		tr.unwind()
		for i := range c.want {
			if math.Abs(tr.th[i]-c.want[i]) > 1e-12 {
				t.Errorf("%v: %v, want %v", c.th, tr.th, c.want)
				break
			}
		}
	}
}
