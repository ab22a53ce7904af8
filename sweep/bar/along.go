package bar

import (
	"fmt"
	"math"

	"tramd/sweep"
	"tramd/sweep/uncertainty"
	"tramd/sweep/units"
)

// axis is a straight bar through the heights.
type axis struct {
	at    float64 // the height where offset and slope are nearly uncorrelated
	mid   vector
	slope vector  // per mm
	cov   float64 // of the two, x and y alike
	chi2  float64
	free  int
}

// straight fits a straight bar by weighted least squares, each height by the mean of its two variances.
func straight(hs []Height) axis {
	var w, wh, whh float64
	weights := make([]float64, len(hs))
	floor := 0.0
	for _, h := range hs {
		floor = math.Max(floor, (h.at.xx+h.at.yy)/2)
	}
	for i, h := range hs {
		weights[i] = 1 / math.Max((h.at.xx+h.at.yy)/2, math.Max(1e-6*floor, 1e-18))
		w += weights[i]
		wh += weights[i] * h.AtMM
	}
	a := axis{at: wh / w, free: 2*len(hs) - 4}
	for i, h := range hs {
		whh += weights[i] * sq(h.AtMM-a.at)
	}
	a.mid.dof, a.slope.dof = math.Inf(1), math.Inf(1)
	mids, slopes := make([]float64, len(hs)), make([]float64, len(hs))
	vs := make([]vector, len(hs))
	for i, h := range hs {
		m, s := weights[i]/w, weights[i]*(h.AtMM-a.at)/whh
		mids[i], slopes[i], vs[i] = m, s, h.at
		a.mid = plus(a.mid, h.at, m)
		a.slope = plus(a.slope, h.at, s)
		a.cov += m * s * (h.at.xx + h.at.yy) / 2
	}
	a.mid.dof, a.slope.dof = welch(vs, mids), welch(vs, slopes)
	for i, h := range hs {
		ex := h.at.x - a.mid.x - a.slope.x*(h.AtMM-a.at)
		ey := h.at.y - a.mid.y - a.slope.y*(h.AtMM-a.at)
		a.chi2 += weights[i] * (ex*ex + ey*ey)
	}
	return a
}

func plus(v, w vector, f float64) vector {
	return vector{v.x + f*w.x, v.y + f*w.y, v.xx + f*f*w.xx, v.xy + f*f*w.xy, v.yy + f*f*w.yy, v.dof}
}

// bent reports whether the heights depart from a straight bar by more than chance, and by how many standard deviations.
func (a *axis) bent() (by float64, ok bool) {
	if a.free <= 0 {
		return 0, false
	}
	by = math.Sqrt(a.chi2 / float64(a.free))
	return by, a.chi2 > uncertainty.ChiSquaredQuantile(0.99, float64(a.free))
}

// scaled widens by what the heights depart from straight: what bends them is not in their own uncertainties (Birge
// 1932, The calculation of errors by the method of least squares, Physical Review 40:207-227; from memory).
func (a axis) scaled() axis {
	if a.free <= 0 || a.chi2 <= float64(a.free) {
		return a
	}
	f := a.chi2 / float64(a.free)
	for _, v := range []*vector{&a.mid, &a.slope} {
		v.xx, v.xy, v.yy = v.xx*f, v.xy*f, v.yy*f
		v.dof = math.Min(v.dof, float64(a.free))
	}
	a.cov *= f
	return a
}

func (a *axis) height(h float64) vector {
	d := h - a.at
	out := vector{x: a.mid.x + d*a.slope.x, y: a.mid.y + d*a.slope.y}
	out.xx = a.mid.xx + 2*d*a.cov + d*d*a.slope.xx
	out.yy = a.mid.yy + 2*d*a.cov + d*d*a.slope.yy
	out.xy = a.mid.xy + d*d*a.slope.xy
	out.dof = math.Min(a.mid.dof, a.slope.dof)
	return out
}

// nearMM is how far apart heights must be to show an angle.
const nearMM = 1e-6

// whole completes a set from its heights.
func (r *Result) whole(hs []Height, opt Options, tell bool) Set {
	s := Set{Heights: hs}
	if span := hs[len(hs)-1].AtMM - hs[0].AtMM; span < nearMM {
		if tell {
			r.warn(WarnOneHeight,
				"the heights do not differ (all %v mm), so the angle of the bar and what is left at the nose stay unknown: turn it at a second height, "+
					"as far from the first as the bar allows", hs[0].AtMM)
		}
		return s
	}
	a := straight(hs)
	if by, bent := a.bent(); bent && tell {
		r.BentBy = &by
		r.warn(
			WarnBent,
			"the heights do not lie on one straight bar (%.1f times their uncertainty): it is bent, or it moved in the collet; the angle is that of the mean", by)
	}
	a = a.scaled()
	v := a.slope.times(1000)
	angle := &Angle{MMPerM: math.Hypot(v.x, v.y), TowardsDeg: v.towards()}
	angle.U, angle.Expanded = v.size()
	angle.Verdict = sweep.Judge(units.Slope(angle.MMPerM)*units.MMPerM, units.Slope(angle.Expanded)*units.MMPerM,
		opt.Tolerance)
	s.Angle = angle
	if opt.NoseMM != nil {
		n := a.height(*opt.NoseMM)
		s.AtNose = &Nose{Eccentricity: math.Hypot(n.x, n.y), TowardsDeg: n.towards(), RunOut: 2 * math.Hypot(n.x, n.y)}
		_, s.AtNose.U = n.size()
	}
	return s
}

// sameHeight is how far two heights of one bar may differ when it was put back.
const sameHeight = 0.5 // mm

// apart tells collet and bar apart: what the bar brings changed its sign, what the collet brings did not.
func (r *Result) apart(first, again []Height, opt Options) error {
	var collet, own []Height
	for _, h := range first {
		found := false
		for _, g := range again {
			if math.Abs(g.AtMM-h.AtMM) > sameHeight {
				continue
			}
			found = true
			c, b := Height{AtMM: h.AtMM, Readings: h.Readings + g.Readings},
				Height{AtMM: h.AtMM, Readings: h.Readings + g.Readings}
			c.set(h.at.add(g.at, 1).times(0.5), Options{})
			b.set(h.at.add(g.at, -1).times(0.5), Options{})
			collet, own = append(collet, c), append(own, b)
			break
		}
		if !found {
			r.warn(WarnUnmatched,
				"the height %v mm was not read again after the bar was put back, so it was left out of what tells bar and collet apart", h.AtMM)
		}
	}
	if len(collet) == 0 {
		return fmt.Errorf(
			"rechucked: none of its heights is one of the first file, within %.1f mm: read the same heights both times",
			sameHeight)
	}
	c, b := r.whole(collet, Options{NoseMM: opt.NoseMM}, false), r.whole(own, Options{NoseMM: opt.NoseMM}, false)
	r.Collet, r.BarItself = &c, &b
	return nil
}
