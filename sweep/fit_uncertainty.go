package sweep

import (
	"math"

	"tramd/sweep/uncertainty"
)

// confidence is the share of cases in which the expanded interval is to hold the truth.
const confidence = 0.95

// budget is the uncertainty of tilt and nod, combined.
type budget struct {
	cov    [2][2]float64
	dof    float64 // effective, +Inf when nothing was judged by repetition
	factor float64
}

// uncertainty combines, as in the GUM (JCGM 100:2008, 5.1.2), what the scatter of the readings says with what it
// cannot:
//
//   - the least squares covariance s^2 (X'X)^-1, with s never below what the resolution q alone leaves, q/sqrt(12);
//   - the radius, which scales every slope: slope * u(r)/r;
//   - the permissible error E of the indicator, taken as rectangular on the difference of two readings across the circle,
//     so E/sqrt(3) over 2r, and more where the stations are badly spread;
//   - a zero that a person pointed out by eye, which turns part of one axis into the other.
//
// Of several indicators the worst one counts for the last two, since they may err alike.
func (t *tally) uncertainty(e estimate, g geometry, variance float64, dof int) budget {
	var u budget
	u.dof = math.Inf(1)
	var radius, mpe float64
	zero := t.setup.Zero.uRad()
	for i, ind := range t.setup.Indicators {
		if t.count[i] > 0 {
			radius = max(radius, ind.RadiusUMM/ind.RadiusMM)
			mpe = max(mpe, ind.MPEMM/math.Sqrt(3)/(2*ind.RadiusMM))
		}
	}
	for a := range 2 {
		for b := range 2 {
			u.cov[a][b] = variance * e.spread[a][b]
		}
	}
	for a, measured := range [2]bool{g.x, g.y} {
		if !measured {
			continue
		}
		byFit := u.cov[a][a]
		u.cov[a][a] += sq(e.slope[a]*radius) + sq(mpe*g.widen[a]) + sq(e.slope[1-a]*zero)
		if dof > 0 {
			u.dof = min(u.dof, welchSatterthwaite(byFit, u.cov[a][a], dof))
		}
	}
	if g.x && g.y {
		both := e.slope[0] * e.slope[1] * sq(zero)
		u.cov[0][1] -= both
		u.cov[1][0] -= both
	}
	u.factor = coverageFactor(u.dof)
	return u
}

// welchSatterthwaite returns the effective degrees of freedom (GUM G.4.1) of a variance of which only a part was judged
// by repetition, cut down to a whole number as the GUM has it.
func welchSatterthwaite(part, whole float64, dof int) float64 {
	if part == whole { // exact; also spares 0/0 when there is no scatter at all
		return float64(dof)
	}
	if part == 0 {
		return math.Inf(1)
	}
	ratio := whole / part
	nu := float64(dof) * ratio * ratio
	if nu > 1e9 {
		return math.Inf(1)
	}
	return math.Floor(nu)
}

// coverageFactor is Student's t for the two-sided 95 % interval. Finding the quantile exactly costs more than all the
// rest of a live result, so with many degrees of freedom it comes from the expansion about the normal quantile
// (Abramowitz and Stegun, Handbook of Mathematical Functions, 26.7.5, from memory), which is then good to nine digits.
func coverageFactor(dof float64) float64 {
	upper := 1 - (1-confidence)/2
	if dof < 100 {
		return uncertainty.TQuantile(upper, dof)
	}
	z := uncertainty.TQuantile(upper, math.Inf(1))
	q := z * z
	g1 := z * (q + 1) / 4
	g2 := z * ((5*q+16)*q + 3) / 96
	g3 := z * (((3*q+19)*q+17)*q - 15) / 384
	g4 := z * ((((79*q+776)*q+1482)*q-1920)*q - 945) / 92160
	return z + (g1+(g2+(g3+g4/dof)/dof)/dof)/dof
}

func sq(x float64) float64 { return x * x }
