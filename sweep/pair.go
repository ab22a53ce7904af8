package sweep

import (
	"fmt"
	"math"

	"tramd/sweep/uncertainty"
	"tramd/sweep/units"
)

// Pair is two indicators on one bar, half a turn apart. Once their offsets are known it reads the lean along the bar
// without turning: the difference of the two readings is the difference of their offsets and the lean over both radii.
type Pair struct {
	base  float64 // sum of the radii, mm
	uBase float64
	a, b  Indicator
}

// oppositeWithin is how far from half a turn apart two indicators may be, in radians: 1.5 % of the lean at right angles
// to the bar then shows along it at most.
const oppositeWithin = 1.5 * math.Pi / 180

// NewPair makes a pair of two indicators that lie opposite each other.
func NewPair(a, b Indicator) (Pair, error) {
	apart := math.Remainder(Radians(b.PhaseDeg-a.PhaseDeg)-math.Pi, 2*math.Pi)
	if !(math.Abs(apart) <= oppositeWithin) {
		return Pair{},
			fmt.Errorf(
				"indicators at %v and %v degrees are not half a turn apart: mount them opposite each other on one bar",
				a.PhaseDeg, b.PhaseDeg)
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

// PairZero is the known difference of the offsets, and what a later difference is worth.
type PairZero struct {
	pair   Pair
	MM     float64
	UMM    float64 // standard uncertainty of MM
	OnceMM float64 // standard uncertainty of one later difference by itself
	DoF    float64 // degrees of freedom behind them
}

// PairLean is the slope along the bar, towards the first indicator.
type PairLean struct {
	Slope, U units.Slope // with its standard uncertainty
	Expanded units.Slope // half width of the interval that covers the truth in 95 % of cases
}

// HalfTurn zeroes the pair by a reversal: the differences at one place of the spindle and after half a turn from there,
// each with the standard uncertainty u in mm. Half their sum is the offsets', half their difference is lean. What the
// surface has of odd harmonics at the two places shows as lean, as it does at any two stations; in the zero it cancels.
func (p Pair) HalfTurn(first, turned, u float64) (PairZero, PairLean) {
	z := PairZero{pair: p, MM: (first + turned) / 2, UMM: u / math.Sqrt2, OnceMM: u, DoF: math.Inf(1)}
	return z, p.lean((first-turned)/2, u/math.Sqrt2, z.DoF)
}

// Read gives the lean along the bar from a later difference.
func (z PairZero) Read(difference float64) PairLean { return z.ReadMoving(difference, 0) }

// ReadMoving gives the same of a bar that moves; u is the standard uncertainty of what the readings lag behind it, in
// mm.
func (z PairZero) ReadMoving(difference, u float64) PairLean {
	return z.pair.lean(difference-z.MM, math.Hypot(u, math.Hypot(z.OnceMM, z.UMM)), z.DoF)
}

func (p Pair) lean(mm, u, dof float64) PairLean {
	s := mm / p.base
	out := PairLean{Slope: units.Slope(s), U: units.Slope(math.Hypot(u/p.base, s*p.uBase/p.base))}
	out.Expanded = out.U * units.Slope(uncertainty.Factor(0.95, dof))
	return out
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

// AxesOf gives tilt and nod from the leans along two directions (radians, counter-clockwise from +X), which must be 45
// degrees apart at least; uWay is the standard uncertainty of a direction in radians. The two may share a zero, so that
// their errors are taken to add up.
func AxesOf(way1 float64, l1 PairLean, way2 float64, l2 PairLean, uWay float64) (tilt, nod PairLean, ok bool) {
	s1, c1 := math.Sincos(way1)
	s2, c2 := math.Sincos(way2)
	det := c1*s2 - s1*c2
	if !(math.Abs(det) >= math.Sqrt2/2) {
		return tilt, nod, false
	}
	join := func(k1, k2 float64) PairLean {
		a1, a2 := units.Slope(math.Abs(k1/det)), units.Slope(math.Abs(k2/det))
		return PairLean{Slope: (units.Slope(k1)*l1.Slope + units.Slope(k2)*l2.Slope) / units.Slope(det),
			U: a1*l1.U + a2*l2.U, Expanded: a1*l1.Expanded + a2*l2.Expanded}
	}
	tilt, nod = join(s2, -s1), join(-c2, c1)
	widen := func(l *PairLean, other units.Slope) {
		turned := uWay * math.Abs(float64(other))
		l.U = units.Slope(math.Hypot(float64(l.U), turned))
		l.Expanded = units.Slope(math.Hypot(float64(l.Expanded), 2*turned))
	}
	widen(&tilt, nod.Slope)
	widen(&nod, tilt.Slope)
	return tilt, nod, true
}
