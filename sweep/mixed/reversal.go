package mixed

import (
	"fmt"
	"math"

	"tramd/sweep"
	"tramd/sweep/uncertainty"
	"tramd/sweep/units"
)

// Separation holds spindle and plate apart, by a reversal. Verdicts of the plate are always none: the
// tolerance is the spindle's.
type Separation struct {
	SpindleTilt, SpindleNod *sweep.Axis
	PlateTilt, PlateNod     *sweep.Axis // the plate's slope: positive when it rises to + on the axis
}

// Reverse tells the lean of the spindle against the machine from the slope of a loose plate, from one sweep on the
// plate as it lay and one after the plate was turned by 180 degrees about the vertical: half the sum is the spindle,
// half the difference the plate (Evans, Hocken, Estler 1996, CIRP Annals 45(2):617-634, cited from memory). What errs
// alike in both sweeps, such as the radius, does not average out of the spindle.
func Reverse(first, turned sweep.Result, tolerance units.Tolerance) (Separation, error) {
	var out Separation
	for _, p := range []struct {
		name  string
		a, b  *sweep.Axis
		s, pl **sweep.Axis
	}{
		{"tilt", first.Tilt, turned.Tilt, &out.SpindleTilt, &out.PlateTilt},
		{"nod", first.Nod, turned.Nod, &out.SpindleNod, &out.PlateNod},
	} {
		if p.a == nil || p.b == nil {
			if p.a != p.b {
				return Separation{},
					fmt.Errorf("%s was measured in one of the two sweeps only: take both with the same stations",
						p.name)
			}
			continue
		}
		*p.s = half(p.a, p.b, +1, tolerance)
		*p.pl = half(p.a, p.b, -1, units.Tolerance{})
	}
	if out.SpindleTilt == nil && out.SpindleNod == nil {
		return Separation{}, fmt.Errorf(
			"neither sweep measured an axis: sweep the plate before and after turning it by 180 degrees")
	}
	return out, nil
}

// half is half the sum (sign +1) or half the difference (-1) of two measurements of one axis.
func half(a, b *sweep.Axis, sign float64, tolerance units.Tolerance) *sweep.Axis {
	out := &sweep.Axis{Slope: (a.Slope + units.Slope(sign)*b.Slope) / 2, Budget: halfBudget(a, b, sign)}
	half, factor := out.Budget.Expanded(confidence)
	out.U, out.Expanded = units.Slope(half/factor)*units.MMPerM, units.Slope(half)*units.MMPerM
	out.Verdict = sweep.Judge(out.Slope, out.Expanded, tolerance)
	if tolerance.Given() {
		p := uncertainty.Inside(float64(out.Slope), float64(out.U), out.Budget.DoF(), -float64(tolerance.Limit),
			float64(tolerance.Limit))
		out.Conformity = &p
	}
	return out
}

// together names the components that err alike in two sweeps with the same arm and indicator.
var together = map[string]bool{"radius": true, "angle": true, "stem angle": true, "lever factor": true}

func halfBudget(a, b *sweep.Axis, sign float64) uncertainty.Budget {
	if a.Budget == nil || b.Budget == nil { // a result that only states its total
		part := func(name string, x *sweep.Axis) uncertainty.Component {
			return uncertainty.Component{
				Name: name, Type: uncertainty.A, U: x.U.MMPerM(), Unit: "mm/m", Sensitivity: 0.5, DoF: math.Inf(1),
			}
		}
		return uncertainty.Budget{part("first sweep", a), part("turned sweep", b)}
	}
	var out uncertainty.Budget
	common := map[string]float64{}
	for _, c := range a.Budget {
		if together[c.Name] {
			common[c.Name] = c.Sensitivity * c.U
			continue
		}
		c.Name, c.Sensitivity = "first "+c.Name, c.Sensitivity/2
		out = append(out, c)
	}
	for _, c := range b.Budget {
		if first, ok := common[c.Name]; ok {
			c.U, c.Unit, c.Sensitivity = (first+sign*c.Sensitivity*c.U)/2, "mm/m", 1
			c.U = math.Abs(c.U)
		} else {
			c.Name, c.Sensitivity = "turned "+c.Name, c.Sensitivity/2
		}
		out = append(out, c)
	}
	return out
}
