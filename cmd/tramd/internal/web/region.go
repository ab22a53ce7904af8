package web

import (
	"math"

	"tramd/sweep"
)

// region is the ellipse that covers the true lean, both axes together, in 95 % of cases. It is larger than the two
// intervals of 95 % taken one by one.
type region struct {
	MajorMMPerM float64 `json:"major_mm_per_m"` // half axes
	MinorMMPerM float64 `json:"minor_mm_per_m"`
	TurnDeg     float64 `json:"turn_deg"` // of the major axis, counter-clockwise from +X
}

// regionOf draws the ellipse from the covariance, or from the two standard uncertainties where a stored result carries
// no covariance. It is nil unless both axes were measured.
func regionOf(r *sweep.Result) *region {
	if r == nil || r.Tilt == nil || r.Nod == nil {
		return nil
	}
	c := r.Covariance
	if c[0][0] == 0 && c[1][1] == 0 {
		c[0][0], c[1][1] = float64(r.Tilt.U*r.Tilt.U), float64(r.Nod.U*r.Nod.U)
	}
	mean, half := (c[0][0]+c[1][1])/2, (c[0][0]-c[1][1])/2
	spread := math.Hypot(half, c[0][1])
	k := jointFactor(r.DoF)
	out := &region{
		MajorMMPerM: k * math.Sqrt(mean+spread) * 1e3,
		MinorMMPerM: k * math.Sqrt(max(0, mean-spread)) * 1e3,
		TurnDeg:     sweep.Degrees(math.Atan2(c[0][1], half) / 2),
	}
	if !finite(out.MajorMMPerM, out.MinorMMPerM, out.TurnDeg) {
		return nil
	}
	return out
}

// jointFactor is sqrt(2*F), F the 95 % quantile of the F distribution with 2 and dof degrees of freedom: how many
// standard uncertainties the joint region of two fitted parameters reaches. With 2 in the numerator the quantile has a
// closed form, (dof/2)*(0.05^(-2/dof) - 1), and tends to -ln(0.05) when the degrees of freedom are many or not known.
func jointFactor(dof float64) float64 {
	if !(dof > 0) || dof > 1e6 {
		return math.Sqrt(-2 * math.Log(0.05))
	}
	return math.Sqrt(dof * math.Expm1(-2/dof*math.Log(0.05)))
}
