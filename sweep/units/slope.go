package units

import "math"

// Slope is an inclination, dimensionless: millimetres per millimetre, so radians for a small lean.
type Slope float64

// Slopes that people speak in.
const (
	MMPerM  Slope = 1e-3
	Radian  Slope = 1
	MRadian Slope = 1e-3
	Arcsec  Slope = math.Pi / 648000
)

// MMPerM gives the slope in millimetres per metre.
func (s Slope) MMPerM() float64 { return float64(s / MMPerM) }

// Arcsec gives the slope in seconds of arc, taking it as a small angle.
func (s Slope) Arcsec() float64 { return float64(s / Arcsec) }

// Over gives the rise in millimetres over a span in millimetres.
func (s Slope) Over(spanMM float64) float64 { return float64(s) * spanMM }
