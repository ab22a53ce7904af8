package advice

import (
	"math"

	"tramd/sweep/units"
)

// Parked is an arm that stands still while something is moved: where it points and how long it is.
type Parked struct {
	Angle    float64 // radians, counter-clockwise from +X
	RadiusMM float64
}

// Pivot is what the head turns about, in mm from the spindle axis: a tilt about XMM, a nod about YMM.
type Pivot struct{ XMM, YMM float64 }

// Travel is how far the reading of a parked arm goes, in mm, while the lean changes by tilt and nod: the turn times the
// arm's place minus the pivot's place,
//
//	tilt*(r*cos(a) - px) + nod*(r*sin(a) - py)
//
// to first order in the turn. With the pivot under the spindle it is what a sweep would show there.
func (p Parked) Travel(at Pivot, tilt, nod units.Slope) float64 {
	sin, cos := math.Sincos(p.Angle)
	return float64(tilt)*(p.RadiusMM*cos-at.XMM) + float64(nod)*(p.RadiusMM*sin-at.YMM)
}

// TravelApart is how far the difference of two readings, first less second, goes: the pivot is in both and falls out.
func TravelApart(first, second Parked, tilt, nod units.Slope) float64 {
	return first.Travel(Pivot{}, tilt, nod) - second.Travel(Pivot{}, tilt, nod)
}

// Park gives the quarter of a turn (0, 90, 180 or 270 degrees, in radians) at which an arm shows a change of lean best,
// and whether it shows it at all: less than a fifth of what a pivot under the spindle would give is too little to go
// by.
func Park(radiusMM float64, at Pivot, tilt, nod units.Slope) (angle float64, shows bool) {
	best := 0.0
	for quarter := range 4 {
		p := Parked{float64(quarter) * math.Pi / 2, radiusMM}
		if t := math.Abs(p.Travel(at, tilt, nod)); t > best {
			best, angle = t, p.Angle
		}
	}
	return angle, best > 0.2*radiusMM*math.Hypot(float64(tilt), float64(nod))
}

// Clamping is what tightening has been seen to do to the reading of a parked arm. The zero value has seen nothing.
type Clamping struct {
	n           int
	sum, square float64
}

// Saw takes in one tightening: the reading before and after it.
func (c *Clamping) Saw(looseMM, tightMM float64) {
	d := tightMM - looseMM
	if math.IsNaN(d) || math.IsInf(d, 0) {
		return
	}
	c.n++
	c.sum += d
	c.square += d * d
}

// Expected is the drift to be expected of the next tightening, and its standard deviation (NaN before two were seen).
// The mean is drawn towards none by one unseen tightening without drift, so that a single one is not believed whole.
func (c *Clamping) Expected() (mm, sd float64) {
	if c.n == 0 {
		return 0, math.NaN()
	}
	mm = c.sum / float64(c.n+1)
	if c.n < 2 {
		return mm, math.NaN()
	}
	mean := c.sum / float64(c.n)
	v := math.Max(0, c.square-float64(c.n)*mean*mean) / float64(c.n-1)
	return mm, math.Sqrt(v * (1 + 1/float64(c.n)))
}
