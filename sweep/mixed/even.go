package mixed

import "math"

// The model weighs what turns slowly against what turns fast by the noise it found. If the noise is not as it thinks,
// or the angles come unevenly late, that weighing can bend the lean and still look sure. Plain least squares of offsets
// and lean alone weighs all readings alike, and is bent by less of that. Both are right on the mean where the model
// holds, and the model says by how much they may then differ (Hausman 1978, Specification tests in econometrics,
// Econometrica 46:1251-1271; from memory): the covariance of the difference is that of least squares under the model
// less that of the model's own lean, which is the best there is (Gauss and Markov).

// Where they differ by far more, the model does not hold, for an unknown reason. The even lean is then given, with an
// interval that reaches to the model's.

const (
	evenApart  = 14.0 // chi-squared of two degrees of freedom: one sweep in a thousand by chance
	evenSlack  = 0.02 // share of the covariances by which the parameters, being estimates, may be off
	evenNearby = 6.0  // chi-squared by the model's own covariance up to which its interval holds both
)

// even is what least squares gives where it is not the model's lean.
type even struct {
	lean [2]float64 // mm at the mean radius
	off  [2]float64 // from the model's lean
}

// part is the standard uncertainty that comes of not knowing which of the two is nearer the truth.
func (e *even) part(at int) float64 {
	return math.Max(math.Abs(e.off[at]), math.Hypot(e.off[0], e.off[1])/math.Sqrt2) / 2
}

// weighEvenly compares the model's lean with that of all blocks weighed alike.
func (f *fitting) weighEvenly() {
	d, p := f.d, &f.ans.best
	last := d.cols - 1
	from := d.form + d.drift + d.extra
	n := last - from
	a := newSym(n + 1)
	row := make([]float64, n+1)
	for _, x := range d.rows {
		copy(row, x[from:])
		if d.extra > 0 { // there are no columns here to hold it
			row[n] -= d.moved.moves(x[d.form+d.drift:])
		}
		a.rank1(row, 1)
	}
	for i := range n + 1 {
		a.row(i)[i] = a.row(i)[i]*(1+1e-12) + 1e-12
	}
	a.cholesky()
	b := append([]float64(nil), a.row(n)[:n]...)
	a.backward(b)
	var e even
	var own, of [2]float64
	for k := range d.lean {
		own[k], of[k] = p.lean[k], b[n-d.lean+k]
		e.lean[k], e.off[k] = of[k], of[k]-f.ans.lean[k]
		of[k] -= own[k]
	}
	if apart(of, p.cov, d.lean) < evenNearby {
		return
	}
	var parts [2][]float64
	for k := range d.lean {
		parts[k] = d.weighing(a, from, n-d.lean+k)
	}
	v := f.spread(parts)
	for k := range v {
		v[k] = v[k]*(1+evenSlack) - p.cov[k]
	}
	for k := range d.lean {
		v[2*k] = math.Max(v[2*k], evenSlack*p.cov[2*k])
	}
	if apart(of, v, d.lean) > evenApart {
		f.even = &e
	}
}

// apart is the chi-squared of a difference by its covariance.
func apart(off [2]float64, cov [3]float64, axes int) float64 {
	if axes == 1 {
		return sq(off[0]) / cov[0]
	}
	det := math.Max(cov[0]*cov[2]-cov[1]*cov[1], 1e-3*cov[0]*cov[2])
	return (sq(off[0])*cov[2] - 2*off[0]*off[1]*cov[1] + sq(off[1])*cov[0]) / det
}

// warnUneven tells the person.
func (f *fitting) warnUneven(add func(code, format string, args ...any)) {
	if f.even == nil {
		return
	}
	off := math.Hypot(f.even.off[0], f.even.off[1]) * 1000 / f.in.radius
	add(WarnUneven,
		"the lean of all readings weighed alike, which is given here, differs by %.3f mm/m from that of the noise model, "+
			"far more than the noise explains, and the interval reaches to it: angles that come unevenly late (a busy computer, a slow line, an encoder that slips), or "+
			"readings disturbed for a part of the sweep; sweep again, more slowly", off)
}

// weighing is by how much each block's reading moves one coefficient, given the factor of the normal equations of the
// columns from one on.
func (d *design) weighing(factor sym, from, at int) []float64 {
	n := factor.n - 1
	u := make([]float64, n)
	u[at] = 1
	factor.solve(u)
	out := make([]float64, len(d.rows))
	for i, x := range d.rows {
		for j, c := range u {
			out[i] += c * x[from+j]
		}
	}
	return out
}

// spread is the covariance under the model, in mm², of sums of the readings with the given parts.
func (f *fitting) spread(parts [2][]float64) (cov [3]float64) {
	d, p := f.d, &f.ans.best
	l := f.levels()
	cov = f.ofNoise(l.noise(p.h), parts)
	pr := d.precision(l, p.h)
	for c := range d.form + d.drift + d.extra {
		var s [2]float64
		for k := range d.lean {
			for i, x := range d.rows {
				s[k] += parts[k][i] * x[c]
			}
		}
		cov[0] += s[0] * s[0] / pr[c]
		cov[1] += s[0] * s[1] / pr[c]
		cov[2] += s[1] * s[1] / pr[c]
	}
	for k := range cov {
		cov[k] *= p.s2
	}
	return cov
}

// ofBand adds what noise of a band makes: its two states run along as one.
func (f *fitting) ofBand(b band, parts [2][]float64, add func(i int, own float64, before [2]float64)) {
	var value, place [2]float64
	for i := range f.bs {
		if i == 0 || f.bs[i].track != f.bs[i-1].track {
			value, place = [2]float64{}, [2]float64{}
		} else {
			on := b.over(math.Abs(f.bs[i].t - f.bs[i-1].t))
			for k, p := range parts {
				if p != nil {
					value[k], place[k] = on.turn(value[k]+b.variance*p[i-1], place[k])
				}
			}
		}
		add(i, b.variance, value)
	}
}

// ofNoise is the part of it that the noise makes, relative to the white. Each process fades by the same share for all
// that went before, so a running sum of it is enough.
func (f *fitting) ofNoise(nz noise, parts [2][]float64) (cov [3]float64) {
	add := func(i int, own float64, before [2]float64) {
		a, b := parts[0][i], 0.0
		if parts[1] != nil {
			b = parts[1][i]
		}
		cov[0] += a * (own*a + 2*before[0])
		cov[1] += own*a*b + a*before[1] + b*before[0]
		cov[2] += b * (own*b + 2*before[1])
	}
	for i := range f.bs {
		add(i, f.bs[i].noise, [2]float64{})
	}
	process := func(variance, tau float64) {
		var before [2]float64
		for i := range f.bs {
			if i == 0 || f.bs[i].track != f.bs[i-1].track {
				before = [2]float64{}
			} else {
				fade := math.Exp(-math.Abs(f.bs[i].t-f.bs[i-1].t) / tau)
				for k, p := range parts {
					if p != nil {
						before[k] = fade * (before[k] + variance*p[i-1])
					}
				}
			}
			add(i, variance, before)
		}
	}
	for _, tau := range nz.tau {
		switch slow := nz.slow / float64(len(nz.tau)); {
		case slow > 0 && nz.together != 0:
			v := f.d.pair.ofSlow(nz.together, slow, tau, parts)
			for k := range v {
				cov[k] += v[k]
			}
		case slow > 0:
			process(slow, tau)
		}
	}
	if nz.steps.variance > 0 {
		process(nz.steps.variance, nz.steps.tau)
	}
	if nz.band.variance > 0 {
		f.ofBand(nz.band, parts, add)
	}
	return cov
}
