package mixed

import (
	"math"
	"sort"
)

// The start: a fit that up to some 40 % of bad segments cannot bend. Least trimmed squares (Rousseeuw 1984) on offset
// and lean, from starts of three segments each and concentration steps (Rousseeuw and Van Driessen 2006); then
// reweighted least squares with Tukey's biweight, the low harmonics of the surface and a linear drift added.

const (
	trimmed      = 0.58 // share of the segments that the start must explain
	robustOrder  = 5    // highest harmonic in the reweighted fit
	robustSample = 420  // segments looked at; more are thinned out
	biweight     = 4.685
)

// start is the robust fit: offsets by group, lean in mm at the mean radius, harmonics and drift.
type start struct {
	basis  basis
	offset []float64
	lean   [2]float64
	form   []float64 // cos, sin of order 2, 3, ...
	drift  float64   // mm over half the sweep's time
	t0, th float64   // time scale of drift: middle, half length
	scale  float64   // robust standard deviation of a segment about the fit
}

func (s *start) at(scale, th, t float64) float64 {
	p := s.basis.at(th)
	z := scale * (s.lean[0]*p.c + s.lean[1]*p.s)
	for k := 0; k < len(s.form); k += 2 {
		a, b := p.next()
		z += s.form[k]*a + s.form[k+1]*b
	}
	return z + s.drift*(t-s.t0)/s.th
}

func (s *start) residual(in *input, g *segment) float64 {
	return g.z - s.offset[g.group] - s.at(in.tracks[g.track].scale, g.th, g.t)
}

// robust fits the segments that are still kept.
func robust(in *input, all []segment, groups int, richest int) start {
	segs := thin(all)
	if len(segs) == 0 { // everything was left out: the plain fit will say so
		return start{basis: in.basis, offset: make([]float64, groups), th: 1, scale: 1}
	}
	r := regression{in: in, segs: segs, groups: groups}
	r.t0, r.th = middleTime(segs)
	r.lay()
	best := r.trimmedStart()
	order := 1
	if m := len(segs) - groups; m >= 16 {
		order = min(richest, 1+m/12)
	}
	return r.reweight(best, order)
}

func thin(all []segment) []segment {
	live := func(g *segment) bool { return g.why == kept && g.n > 0 }
	n := 0
	for i := range all {
		if live(&all[i]) {
			n++
		}
	}
	out := make([]segment, 0, min(n, robustSample))
	seen, next := 0, 0
	for i := range all {
		if !live(&all[i]) {
			continue
		}
		if n <= robustSample || seen == next {
			out = append(out, all[i])
			next = len(out) * n / robustSample
		}
		seen++
	}
	return out
}

func middleTime(segs []segment) (mid, half float64) {
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, g := range segs {
		lo, hi = math.Min(lo, g.t), math.Max(hi, g.t)
	}
	return (lo + hi) / 2, math.Max((hi-lo)/2, 1e-9)
}

type regression struct {
	in     *input
	segs   []segment
	spots  []spot // of the segments
	groups int
	t0, th float64
	buf    []float64
}

// spot is what the regression asks of a segment's place again and again.
type spot struct {
	scale, c, s float64
	form        [2 * robustOrder]float64 // cosine and sine of order 2, 3, ...
}

// lay works out the spots.
func (r *regression) lay() {
	r.spots = make([]spot, len(r.segs))
	for i := range r.segs {
		g, at := &r.segs[i], &r.spots[i]
		p := r.in.basis.at(g.th)
		at.scale, at.c, at.s = r.in.tracks[g.track].scale, p.c, p.s
		for k := 0; k < len(at.form); k += 2 {
			at.form[k], at.form[k+1] = p.next()
		}
	}
}

// residuals writes what a start leaves of the segments.
func (r *regression) residuals(s *start, out []float64) {
	for i := range r.segs {
		g, p := &r.segs[i], &r.spots[i]
		z := p.scale * (s.lean[0]*p.c + s.lean[1]*p.s)
		for k := 0; k < len(s.form); k += 2 {
			z += s.form[k]*p.form[k] + s.form[k+1]*p.form[k+1]
		}
		out[i] = g.z - s.offset[g.group] - (z + s.drift*(g.t-s.t0)/s.th)
	}
}

// row writes the regressors of one segment: harmonics, drift, lean, then the offsets of the groups, so that the base
// model is a suffix.
func (r *regression) row(i, order int, x []float64) []float64 {
	g, p := &r.segs[i], &r.spots[i]
	x = append(x[:0], p.form[:2*(order-1)]...)
	if order > 1 {
		x = append(x, (g.t-r.t0)/r.th)
	}
	x = append(x, p.scale*p.c, p.scale*p.s)
	for i := range r.groups {
		if i == g.group {
			x = append(x, 1)
		} else {
			x = append(x, 0)
		}
	}
	return x
}

// solve is weighted least squares; a touch of ridge keeps harmonics quiet where a gap hides them.
func (r *regression) solve(order int, w []float64) start {
	var x []float64
	x = r.row(0, order, x)
	p := len(x)
	a := newSym(p)
	b := make([]float64, p)
	var z0 float64
	for i := range r.segs {
		z0 += r.segs[i].z / float64(len(r.segs))
	}
	for i := range r.segs {
		if w[i] == 0 {
			continue
		}
		x = r.row(i, order, x)
		a.rank1(x, w[i])
		for j, v := range x {
			b[j] += w[i] * v * (r.segs[i].z - z0)
		}
	}
	for j := range p {
		ridge := 1e-9
		if j < p-2-r.groups {
			ridge = 0.002 * float64(len(r.segs))
		}
		a.row(j)[j] += ridge
	}
	a.cholesky()
	a.solve(b)
	s := start{basis: r.in.basis, t0: r.t0, th: r.th}
	k := 0
	if order > 1 {
		k = 2 * (order - 1)
		s.form = append(s.form, b[:k]...)
		s.drift = b[k]
		k++
	}
	s.lean = [2]float64{b[k], b[k+1]}
	for _, v := range b[k+2:] {
		s.offset = append(s.offset, v+z0)
	}
	return s
}

// trimmedStart is least trimmed squares on offsets and lean.
func (r *regression) trimmedStart() start {
	m := len(r.segs)
	ones := make([]float64, m)
	for i := range ones {
		ones[i] = 1
	}
	p := 2 + r.groups
	h := min(m, max(int(math.Ceil(trimmed*float64(m))), (m+p+1)/2))
	if m < p+3 {
		return r.solve(1, ones)
	}
	type trial struct {
		s   start
		obj float64
	}
	res, w := make([]float64, m), make([]float64, m)
	concentrate := func(s start, steps int) trial {
		var t trial
		for range steps {
			t = trial{s, r.trim(s, h, res, w)}
			s = r.solve(1, w)
		}
		if obj := r.trim(s, h, res, w); obj < t.obj {
			t = trial{s, obj}
		}
		return t
	}
	trials := []trial{concentrate(r.solve(1, ones), 2)}
	for _, s := range r.triples(60) {
		trials = append(trials, trial{s, r.trim(s, h, res, w)})
	}
	sort.SliceStable(trials, func(i, j int) bool { return trials[i].obj < trials[j].obj })
	best := trials[0]
	for _, t := range trials[:min(6, len(trials))] {
		if t = concentrate(t.s, 6); t.obj < best.obj {
			best = t
		}
	}
	return best.s
}

// trim sets w to 1 on the h segments nearest to s, and returns their sum of squares.
func (r *regression) trim(s start, h int, res, w []float64) float64 {
	r.residuals(&s, res)
	for i, v := range res {
		res[i] = math.Abs(v)
	}
	r.buf = append(r.buf[:0], res...)
	cut := nth(r.buf, h-1)
	var obj float64
	for i, v := range res {
		w[i] = 0
		if v <= cut {
			w[i] = 1
			obj += v * v
		}
	}
	return obj
}

// triples solves exactly through three well spread segments of one group, over a fixed set of triples, and gives every
// other group the median of what is left.
func (r *regression) triples(count int) []start {
	byGroup := make([][]int, r.groups)
	for i := range r.segs {
		byGroup[r.segs[i].group] = append(byGroup[r.segs[i].group], i)
	}
	var out []start
	left := make([]float64, len(r.segs))
	seed := uint64(1)
	draw := func(n int) int { // a fixed sequence, so that the same sweep always gives the same answer
		seed = seed*6364136223846793005 + 1442695040888963407
		return int((seed >> 33) % uint64(n))
	}
	for try := 0; try < 6*count && len(out) < count; try++ {
		ids := byGroup[try%r.groups]
		if len(ids) < 3 {
			continue
		}
		a, b, c := ids[draw(len(ids))], ids[draw(len(ids))], ids[draw(len(ids))]
		if s, ok := r.through(a, b, c); ok {
			r.residuals(&s, left) // its offsets are 0
			for g, members := range byGroup {
				r.buf = r.buf[:0]
				for _, i := range members {
					r.buf = append(r.buf, left[i])
				}
				if len(members) > 0 {
					s.offset[g] = median(r.buf)
				}
			}
			out = append(out, s)
		}
	}
	return out
}

func (r *regression) through(i, j, k int) (start, bool) {
	p, q, o := &r.segs[i], &r.segs[j], &r.segs[k]
	if r.in.basis.line {
		return r.along(p, o)
	}
	x, y, z := &r.spots[i], &r.spots[j], &r.spots[k]
	scale := z.scale
	a, b, c, d := x.c-z.c, x.s-z.s, y.c-z.c, y.s-z.s
	det := a*d - b*c
	if math.Abs(det) < 0.5 { // less than about 60 degrees apart
		return start{}, false
	}
	y1, y2 := (p.z-o.z)/scale, (q.z-o.z)/scale
	return start{
		basis:  r.in.basis,
		lean:   [2]float64{(y1*d - b*y2) / det, (a*y2 - y1*c) / det},
		offset: make([]float64, r.groups), t0: r.t0, th: r.th,
	}, true
}

// along is the line through two segments that are a quarter of it apart or more.
func (r *regression) along(p, q *segment) (start, bool) {
	run := (place(p.th) - place(q.th)) * r.in.tracks[p.track].scale
	if math.Abs(run) < 0.5 {
		return start{}, false
	}
	return start{
		basis: r.in.basis, lean: [2]float64{(p.z - q.z) / run},
		offset: make([]float64, r.groups), t0: r.t0, th: r.th,
	}, true
}

// reweight runs the biweight from s, adding harmonics one at a time so that a slot is never taken for form.
func (r *regression) reweight(s start, order int) start {
	m := len(r.segs)
	res, w := make([]float64, m), make([]float64, m)
	floor := 0.15*r.in.resolution + 1e-6*r.in.step()
	for o := 1; o <= order+1; o++ {
		for range 3 {
			r.residuals(&s, res)
			s.scale = math.Max(spread(res), floor)
			for i, v := range res {
				u := v / (biweight * s.scale)
				w[i] = 0
				if u*u < 1 {
					w[i] = (1 - u*u) * (1 - u*u)
				}
			}
			scale := s.scale
			s = r.solve(min(o, order), w)
			s.scale = scale
		}
	}
	r.residuals(&s, res)
	s.scale = math.Max(spread(res), floor)
	return s
}
