package sweep

import (
	"fmt"
	"math"

	"tramd/sweep/units"
)

// Pair is two indicators on one bar, half a turn apart. Once their offsets are known it reads the lean along the bar without
// turning: the difference of the two readings is the difference of their offsets and the lean over both radii.
type Pair struct {
	base  float64 // sum of the radii, mm
	uBase float64
	a, b  Indicator
}

// oppositeWithin is how far from half a turn apart two indicators may be, in radians: 1.5 % of the lean at right angles to
// the bar then shows along it at most.
const oppositeWithin = 1.5 * math.Pi / 180

// NewPair makes a pair of two indicators that lie opposite each other.
func NewPair(a, b Indicator) (Pair, error) {
	apart := math.Remainder(Radians(b.PhaseDeg-a.PhaseDeg)-math.Pi, 2*math.Pi)
	if !(math.Abs(apart) <= oppositeWithin) {
		return Pair{}, fmt.Errorf("indicators at %v and %v degrees are not half a turn apart: mount them opposite each other on one bar", a.PhaseDeg, b.PhaseDeg)
	}
	if !(a.RadiusMM > 0) || !(b.RadiusMM > 0) {
		return Pair{}, fmt.Errorf("no radius: give the length from the spindle axis to each contact point in mm")
	}
	return Pair{base: a.RadiusMM + b.RadiusMM, uBase: math.Hypot(a.RadiusUMM, b.RadiusUMM), a: a, b: b}, nil
}

// Difference is the first indicator's reading less the second's, both corrected.
func (p Pair) Difference(shownA, shownB float64) float64 {
	return p.a.Correct(shownA) - p.b.Correct(shownB)
}

// PairZero is the known difference of the offsets.
type PairZero struct {
	pair Pair
	MM   float64
	UMM  float64 // standard uncertainty
}

// PairLean is the slope along the bar, towards the first indicator, with its standard uncertainty.
type PairLean struct {
	Slope, U units.Slope
}

// HalfTurn zeroes the pair by a reversal: the differences at one place of the spindle and after half a turn from there, each
// with the standard uncertainty u in mm. Half their sum is the offsets', half their difference is lean. What the surface has
// of odd harmonics at the two places shows as lean, as it does at any two stations.
func (p Pair) HalfTurn(first, turned, u float64) (PairZero, PairLean) {
	z := PairZero{pair: p, MM: (first + turned) / 2, UMM: u / math.Sqrt2}
	return z, p.lean((first-turned)/2, u/math.Sqrt2)
}

// Known zeroes the pair by offsets found otherwise, as by a sweep.
func (p Pair) Known(mm, u float64) PairZero { return PairZero{pair: p, MM: mm, UMM: u} }

// Read gives the lean along the bar from a difference with standard uncertainty u in mm.
func (z PairZero) Read(difference, u float64) PairLean {
	return z.pair.lean(difference-z.MM, math.Hypot(u, z.UMM))
}

func (p Pair) lean(mm, u float64) PairLean {
	s := mm / p.base
	return PairLean{Slope: units.Slope(s), U: units.Slope(math.Hypot(u/p.base, s*p.uBase/p.base))}
}

// OppositePair finds two indicators of a setup that lie opposite each other.
func OppositePair(setup Setup) (a, b int, p Pair, ok bool) {
	for b = range setup.Indicators {
		for a = range b {
			if p, err := NewPair(setup.Indicators[a], setup.Indicators[b]); err == nil {
				return a, b, p, true
			}
		}
	}
	return 0, 0, Pair{}, false
}
