package sweep

import "math"

// Point is one reading with the spindle angle it was taken at.
type Point struct {
	T         float64 // seconds from any origin, on a steady clock
	Angle     float64 // radians, unwrapped; NaN when the angle is not known
	Reading   float64 // millimetres, larger = surface nearer
	Indicator int     // index into Setup.Indicators
}

// Finite reports whether every part of the point is a usable number.
func (p Point) Finite() bool {
	return finite(p.T) && finite(p.Angle) && finite(p.Reading)
}

func finite(x float64) bool { return !math.IsNaN(x) && !math.IsInf(x, 0) }

// Degrees turns an angle in radians into degrees.
func Degrees(rad float64) float64 { return rad * (180 / math.Pi) }

// Radians turns an angle in degrees into radians.
func Radians(deg float64) float64 { return deg * (math.Pi / 180) }

// Wrap brings an angle in radians into [0, 2π).
func Wrap(rad float64) float64 {
	w := math.Mod(rad, 2*math.Pi)
	if w < 0 {
		w += 2 * math.Pi
	}
	if w >= 2*math.Pi { // -1e-17 + 2π rounds to 2π
		w = 0
	}
	return w
}
