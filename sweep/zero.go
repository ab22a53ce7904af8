package sweep

import (
	"fmt"
	"math"
	"time"

	"tramd/sweep/units"
)

// Zero says who established where 0 degrees is, for the angles of one run.
type Zero struct {
	From ZeroFrom  `json:"from"`
	At   time.Time `json:"at,omitzero"`     // when a person pointed the arm; zero for a configured zero
	UDeg float64   `json:"u_deg,omitempty"` // standard uncertainty, in degrees; 0: nothing is stated
}

// ZeroFrom is the source of a zero.
type ZeroFrom string

// Sources of a zero.
const (
	ZeroUnknown    ZeroFrom = "unknown"       // the angles count from wherever the encoder's own zero points
	ZeroConfigured ZeroFrom = "configuration" // zero_deg or index_deg is written
	ZeroPointed    ZeroFrom = "pointed"       // a person pointed the arm right, and then turned it towards the back
	ZeroIndex      ZeroFrom = "index"         // a person pointed it earlier, and the encoder's index mark has kept it
)

// PointedUDeg is the standard uncertainty, in degrees, of an arm that a person points to the right by eye (common
// practice, no source).
const PointedUDeg = 2.0

// Known reports whether angles say a direction. A setup without a Zero has angles that are known otherwise: stations,
// or a recorded file.
func (z *Zero) Known() bool { return z == nil || z.From != ZeroUnknown }

// uRad returns the standard uncertainty of the zero in radians.
func (z *Zero) uRad() float64 {
	if z == nil {
		return 0
	}
	return Radians(z.UDeg)
}

// WarnZeroUnknown is the code of the warning that a result has a size and no direction.
const WarnZeroUnknown = "zero_unknown"

const zeroUnknownText = "where 0 degrees is has not been established, so the direction of the lean is not known: point the arm right, " +
	"press, turn it towards the back, press (`tramd sweep` and the page ask for it), then sweep again; or write zero_deg in the configuration " +
	"(mark_deg, where the arm points at the index pulse, for constant turning)"

// HideDirection takes tilt and nod out of a result whose angles have no known zero, and leaves the size of the lean.
//
// The size is the same wherever 0 degrees is. Its interval is s ± k·u, with u the larger standard uncertainty of any
// direction and k the 95 % radius of a bivariate Student distribution, so that it covers whatever the direction is. The
// verdict needs no direction where the size decides: neither axis exceeds the size, and one of them reaches size/√2.
func (r *Result) HideDirection(tol units.Tolerance) {
	if r.Tilt != nil && r.Nod != nil {
		size := math.Hypot(float64(r.Tilt.Slope), float64(r.Nod.Slope))
		u := math.Sqrt(largestEigenvalue(r.Covariance))
		u = math.Max(u, math.Max(float64(r.Tilt.U), float64(r.Nod.U)))
		r.Lean = &Lean{Slope: units.Slope(size), Azimuth: math.NaN(), U: units.Slope(u),
			Expanded: units.Slope(planarFactor(r.DoF) * u)}
	} else {
		r.Lean = nil
	}
	r.Tilt, r.Nod, r.Conformity = nil, nil, nil
	r.Verdict = judgeSize(r.Lean, tol)
	r.Warnings = append(r.Warnings[:len(r.Warnings):len(r.Warnings)], Warning{WarnZeroUnknown, zeroUnknownText})
}

// judgeSize decides on a spindle of which only the size of the lean is known.
func judgeSize(lean *Lean, tol units.Tolerance) Verdict {
	switch {
	case !tol.Given():
		return None
	case lean == nil:
		return Undecided
	case lean.Slope+lean.Expanded <= tol.Limit:
		return Within
	case float64(lean.Slope-lean.Expanded)/math.Sqrt2 > float64(tol.Limit):
		return Outside
	}
	return Undecided
}

func largestEigenvalue(c [2][2]float64) float64 {
	mean, half := (c[0][0]+c[1][1])/2, (c[0][0]-c[1][1])/2
	return mean + math.Hypot(half, c[0][1])
}

// planarFactor returns how many standard uncertainties the 95 % circle of two equal errors spans: the square root of
// twice the 0.95 quantile of F(2, dof), which has a closed form.
func planarFactor(dof float64) float64 {
	if !(dof < 1e9) { // infinite, or not known
		return math.Sqrt(-2 * math.Log(1-confidence))
	}
	return math.Sqrt(dof * (math.Pow(1-confidence, -2/dof) - 1))
}

// SizeOnly returns the lean of a result that has a size and no direction; nil for any other, and for no result.
func (r *Result) SizeOnly() *Lean {
	if r == nil || r.Tilt != nil || r.Nod != nil {
		return nil
	}
	return r.Lean
}

// Direction says in words how a lean of known size lies; it is for results without tilt and nod.
func (l Lean) Direction() string {
	if math.IsNaN(l.Azimuth) {
		return "direction not known"
	}
	return fmt.Sprintf("upper end towards %.0f°", math.Mod(math.Round(Degrees(l.Azimuth)), 360))
}
