package mixed

import (
	"math"

	"tramd/sweep"
	"tramd/sweep/uncertainty"
	"tramd/sweep/units"
)

// belief is what the fit knows of tilt and nod in mm/m: the terms of the grid, widened by what no reading shows. An
// axis that was not measured is nothing in it.
func (f *fitting) belief() (all uncertainty.Mixture, known [2]uncertainty.Budget) {
	all = append(all, f.ans.terms...)
	perMM := 1000 / f.in.radius
	for i := range all {
		t := &all[i]
		if f.even != nil {
			t.Mean[0] += f.even.off[0]
			t.Mean[1] += f.even.off[1]
		}
		for k := range t.Mean {
			t.Mean[k] *= perMM
		}
		for k := range t.Cov {
			t.Cov[k] *= perMM * perMM
		}
		if !f.axes[0] { // the one axis is nod
			t.Mean, t.Cov = [2]float64{0, t.Mean[0]}, [3]float64{0, 0, t.Cov[0]}
		}
	}
	lean := all.Mean()
	for i, on := range f.axes {
		if on {
			known[i] = f.typeB(i, lean)
		}
	}
	return all.With(covarianceOf(known)), known
}

// covarianceOf is what the parts of two budgets come to together: what turns or scales the whole lean errs in both axes
// at once.
func covarianceOf(b [2]uncertainty.Budget) (cov [3]float64) {
	common := map[string]float64{}
	for i := range b {
		for _, c := range b[i] {
			e := c.Sensitivity * c.U
			cov[2*i] += e * e
			if i == 0 {
				common[c.Name] = e
			} else if together[c.Name] {
				cov[1] += common[c.Name] * e
			}
		}
	}
	return cov
}

// conclude writes tilt, nod and lean, their intervals and what is to be said of the tolerance: all from one belief.
func (f *fitting) conclude(r *sweep.Result) {
	all, known := f.belief()
	mean := all.Mean()
	var half [2]float64
	r.DoF = math.Inf(1)
	for i, on := range f.axes {
		if on {
			half[i] = all.HalfWidth(i, confidence)
			r.DoF = math.Min(r.DoF, all.Freedom(i))
		}
	}
	r.CoverageFactor = uncertainty.Factor(confidence, r.DoF)
	limit := f.in.setup.Tolerance
	var u [2]float64
	axis := func(i int) *sweep.Axis {
		if !f.axes[i] {
			return nil
		}
		u[i] = half[i] / r.CoverageFactor
		a := &sweep.Axis{
			Slope: units.Slope(mean[i]) * units.MMPerM, U: units.Slope(u[i]) * units.MMPerM,
			Expanded: units.Slope(half[i]) * units.MMPerM,
			Budget:   append(f.typeA(i, u[i], r.DoF, known[i].Combined()), known[i]...),
		}
		a.Verdict = sweep.Judge(a.Slope, a.Expanded, limit)
		if limit.Given() {
			p := all.Inside(i, -limit.Limit.MMPerM(), limit.Limit.MMPerM())
			a.Conformity = &p
		}
		return a
	}
	r.Tilt, r.Nod, r.Lean, r.Conformity = axis(0), axis(1), nil, nil
	r.Covariance = [2][2]float64{{sq(u[0] * 1e-3), 0}, {0, sq(u[1] * 1e-3)}}
	if f.axes[0] && f.axes[1] {
		cross := all.Correlation() * u[0] * u[1] * 1e-6
		r.Covariance[0][1], r.Covariance[1][0] = cross, cross
		r.Lean = &sweep.Lean{
			Slope:   units.Slope(math.Hypot(mean[0], mean[1])) * units.MMPerM,
			Azimuth: sweep.Wrap(math.Atan2(mean[1], mean[0])),
		}
		if limit.Given() && !f.goesOn {
			p := all.InsideBoth(limit.Limit.MMPerM())
			r.Conformity = &p
		}
	}
	r.Verdict = sweep.JudgeBoth(r.Tilt, r.Nod, limit)
}
