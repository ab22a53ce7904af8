package mixed

import (
	"fmt"
	"math"
	"slices"

	"tramd/sweep"
	"tramd/sweep/uncertainty"
)

// Curve is what one indicator read along one line, in the order in which it read it.
type Curve struct {
	T, X, Z     []float64 // seconds; mm along the line; mm as shown
	Indicator   int
	Slope, Form []float64 // how much of each slope and of each form of the problem stands in these readings
}

// Sum is a linear sum of the unknowns of a problem: of slopes, each in mm per mm, and of the curves' heights, in mm.
// The height of a curve is the mean of its readings brought to the middle of the line by its slope.
type Sum struct{ Slopes, Heights []float64 }

// Lines is a measurement along straight lines. Curve c reads
//
//	z = height_c + sum_j Slope_cj slope_j (x - middle) + sum_k Form_ck form_k(x) + noise
//
// with the same noise, slots, spikes, knocks and steps of the display as a sweep has. A form is how a line departs from
// straight: it leaves the slope of its least-squares line alone, as the form of a circle leaves the lean.
type Lines struct {
	Curves        []Curve
	Indicators    []sweep.Indicator
	Slopes, Forms int
	Sums          []Sum // that are wanted
	Options       Options
}

// Estimate is a value with what the readings alone say of its uncertainty: Terms holds all of it, about the value less
// Zero.
type Estimate struct {
	Value, U, DoF float64
	Terms         uncertainty.Mixture
	Zero          float64
}

func estimate(a answer, zero float64) Estimate {
	dof := a.terms.Freedom(0)
	return Estimate{a.lean[0] + zero, a.terms.HalfWidth(0, confidence) / uncertainty.Factor(confidence, dof), dof,
		a.terms, zero}
}

// Combine returns the half width of the interval in a unit of which there are scale to one, once an independent part of
// the given standard uncertainty in that unit is added, and the probability that the value lies within a limit of
// nothing.
func (e Estimate) Combine(scale, u, limit float64) (half, inside float64) {
	m := make(uncertainty.Mixture, len(e.Terms))
	for i, t := range e.Terms {
		v := (t.Mean[0] + e.Zero) * scale
		t.Mean, t.Cov = [2]float64{v, v}, [3]float64{t.Cov[0] * scale * scale, 0, t.Cov[2] * scale * scale}
		m[i] = t
	}
	m = m.With([3]float64{u * u, 0, u * u})
	return m.HalfWidth(0, confidence), m.Inside(0, -limit, limit)
}

// Look is the mean of consecutive readings at one place.
type Look struct {
	Curve    int
	T, X, MM float64 // MM is less what a knock or a drift brought
	N        float64
}

// lineModel is where the unknowns stand in the design.
type lineModel struct {
	slopes, forms int
	shares        []Curve // by track
	mid, half     float64
}

const lineForms = 10 // Legendre polynomials of a form, from the second on

// FitLines fits a measurement along lines. It refuses what has no slope; what rests on little is for the caller to say.
func FitLines(p Lines) (*LineFit, error) {
	in, model, err := p.input()
	if err != nil {
		return nil, err
	}
	f := &fitting{in: in, opt: p.Options}
	scale := 0.0
	for k := range in.tracks { // lines differ in slope and form, so each is cleaned by itself
		one := *in
		one.tracks = in.tracks[k : k+1 : k+1]
		segs, st, groups := clean(&one)
		for i := range segs {
			segs[i].track = k
			segs[i].group += f.groups
		}
		f.segs = append(f.segs, segs...)
		f.groups += groups
		scale = math.Max(scale, st.scale)
	}
	f.start = start{basis: in.basis, scale: scale}
	f.solveLines(model, p.Sums)
	return f.lineFit(model, p), nil
}

// input checks the readings and lays the lines on the angles of a turn.
func (p *Lines) input() (*input, lineModel, error) {
	m := lineModel{slopes: p.Slopes, forms: p.Forms}
	lo, hi := math.Inf(1), math.Inf(-1)
	for c := range p.Curves {
		cv := &p.Curves[c]
		if len(cv.X) != len(cv.T) || len(cv.X) != len(cv.Z) || len(cv.Slope) != p.Slopes || len(cv.Form) != p.Forms ||
			cv.Indicator >= len(p.Indicators) {
			return nil, m, fmt.Errorf("curve %d does not fit the problem", c+1)
		}
		for _, x := range cv.X {
			lo, hi = math.Min(lo, x), math.Max(hi, x)
		}
	}
	if !(hi > lo) {
		return nil, m, fmt.Errorf("all readings are at one position: a slope needs two at least, better five or more")
	}
	m.mid, m.half = (lo+hi)/2, (hi-lo)/2
	in := &input{basis: basis{line: true}, radius: 1, setup: sweep.Setup{Indicators: slices.Clone(p.Indicators)}}
	for i := range in.setup.Indicators {
		in.setup.Indicators[i].RadiusMM, in.setup.Indicators[i].RadiusUMM = 1, 0 // no arm
	}
	var weight float64
	for i := range in.setup.Indicators {
		ind := &in.setup.Indicators[i]
		step := coarserStep(func(yield func(float64) bool) {
			for c := range p.Curves {
				if p.Curves[c].Indicator != i {
					continue
				}
				for _, z := range p.Curves[c].Z {
					if !yield(z) {
						return
					}
				}
			}
		}, coarsenBy*ind.ResolutionMM)
		if step > in.coarse[0] {
			in.coarse = [2]float64{step, ind.ResolutionMM}
		}
		ind.ResolutionMM = math.Max(ind.ResolutionMM, step)
	}
	for c := range p.Curves {
		cv := &p.Curves[c]
		if len(cv.X) == 0 {
			return nil, m, fmt.Errorf("curve %d has no readings", c+1)
		}
		ind := &in.setup.Indicators[cv.Indicator]
		tr := track{
			indicator: cv.Indicator, scale: 1, t: slices.Clone(cv.T), th: make([]float64, len(cv.X)),
			z:   make([]float64, len(cv.Z)),
			why: make([]code, len(cv.X)),
		}
		for i, x := range cv.X {
			tr.th[i] = ((x-m.mid)/m.half + 1) * math.Pi
			tr.z[i] = ind.Correct(cv.Z[i])
			if ind.AtEnd(cv.Z[i]) {
				tr.why[i] = endOfTravel
			}
		}
		if err := tr.oneUnit(); err != nil {
			return nil, m, err
		}
		back, none := tr.mendTime()
		in.backwards, in.timeless = in.backwards || back, in.timeless || none
		in.tracks = append(in.tracks, tr)
		in.readings += len(cv.X)
		in.resolution += float64(len(cv.X)) * ind.ResolutionMM
		weight += float64(len(cv.X))
		m.shares = append(m.shares, *cv)
	}
	in.resolution /= weight
	return in, m, nil
}

// solveLines is solve for lines.
func (f *fitting) solveLines(m lineModel, wanted []Sum) {
	f.bs = blocks(f.in, f.segs)
	f.known = f.prior()
	f.rounded = roundedTo(f.bs, f.in.resolution)
	f.both = bothWays(f.bs)
	f.roundLines(m, wanted)
	if f.learnSteps() {
		f.roundLines(m, wanted)
	}
	if f.joinSwings() {
		f.learnSteps()
		f.roundLines(m, wanted)
	}
}

func (f *fitting) roundLines(m lineModel, wanted []Sum) {
	before := f.ans.best.s2
	if before == 0 {
		before = sq(f.start.scale)
	}
	f.d = m.design(f)
	f.d.noise2 = before
	l := f.levels()
	l.line = true
	if standing(f.bs) && len(f.bs) < denseSegments { // few places, each waited at
		l.settled = true
	}
	if !f.both { // a steady drift and a slope are one thing to a single pass
		l.drift = l.drift[:2]
	}
	s := f.searcher(f.d, l)
	for _, w := range wanted {
		s.sums = append(s.sums, m.weights(f, w))
	}
	f.points = s.search()
	f.ans = summarise(append([]point(nil), f.points...))
	if f.ans.best.factor.n == 0 {
		s.held = false
		f.ans.best.factor = s.at(f.ans.best.h).factor
	}
	f.coef = f.ans.best.coefficients(f.d)
}

// design writes the columns: forms, drift, heights, slopes. The last slope stands where a sweep has its lean.
func (m *lineModel) design(f *fitting) *design {
	d := &design{form: m.forms * lineForms, drift: drifts, groups: f.groups + m.slopes - 1, lean: 1}
	for range m.forms {
		for k := range lineForms {
			d.orders = append(d.orders, k+2)
		}
	}
	d.cols = d.form + d.drift + d.groups + d.lean + 1
	for i := range f.bs {
		d.zero += f.bs[i].z / float64(len(f.bs))
	}
	t0, half := timeSpan(f.bs)
	backing := make([]float64, d.cols*len(f.bs))
	for i := range f.bs {
		b := &f.bs[i]
		x := backing[i*d.cols : (i+1)*d.cols]
		d.rows = append(d.rows, x)
		cv := &m.shares[b.track]
		p := f.in.basis.at(b.th)
		for k := 0; k < lineForms; k += 2 {
			u, v := p.next()
			for j, share := range cv.Form {
				x[j*lineForms+k], x[j*lineForms+k+1] = share*u, share*v
			}
		}
		if f.both {
			for j, v := range legendre((b.t - t0) / half) {
				x[d.form+j] = v
			}
		}
		first := d.form + d.drift
		x[first+b.group] = 1
		for j, share := range cv.Slope {
			x[first+f.groups+j] = share * place(b.th)
		}
		x[d.cols-1] = b.z - d.zero
	}
	return d
}

// weights are those of the design's coefficients in a sum.
func (m *lineModel) weights(f *fitting, w Sum) []float64 {
	out := make([]float64, f.d.cols-1)
	first := f.d.form + f.d.drift
	looks := map[int]float64{}
	for i := range f.bs { // a curve's height is that before any knock
		c := f.bs[i].track
		if looks[c] == 0 && c < len(w.Heights) {
			out[first+f.bs[i].group] = w.Heights[c]
		}
		looks[c]++
	}
	for i := range f.bs { // its form has no mean along the line, but may have one over the places that were read
		if c := f.bs[i].track; c < len(w.Heights) {
			for j := range f.d.form {
				out[j] += w.Heights[c] / looks[c] * f.d.rows[i][j]
			}
		}
	}
	for j, share := range w.Slopes {
		out[first+f.groups+j] = share / m.half
	}
	return out
}

// summed is a sum of coefficients at one point of the grid.
type summed struct{ value, variance float64 }

func (p *point) weigh(sums [][]float64) []summed {
	out := make([]summed, len(sums))
	y := p.factor.row(p.factor.n - 1)
	b := make([]float64, p.factor.n-1)
	for i, w := range sums {
		copy(b, w)
		p.factor.forward(b)
		var s summed
		for j, v := range b {
			s.value += v * y[j]
			s.variance += v * v
		}
		s.variance *= p.s2
		out[i] = s
	}
	return out
}

func (f *fitting) lineFit(m lineModel, p Lines) *LineFit {
	out := &LineFit{
		FromMM: m.mid - m.half, ToMM: m.mid + m.half, ResolutionMM: f.in.resolution,
		Rejections: f.in.rejections(), ResidualRMSMM: f.lineScatter(), BothWays: f.both,
		Knocks:    f.groups - len(f.in.tracks),
		Backwards: f.in.backwards, Still: f.in.timeless, CoarseMM: f.in.coarse, f: f, model: m,
	}
	for i := range out.Rejections {
		r := &out.Rejections[i]
		r.FromDeg, r.ToDeg = m.mid+m.half*place(sweep.Radians(r.FromDeg)), m.mid+m.half*place(sweep.Radians(r.ToDeg))
	}
	for k := range f.in.tracks {
		for _, w := range f.in.tracks[k].why {
			if w == kept {
				out.Readings++
			}
		}
	}
	out.Rejected = f.in.readings - out.Readings
	if f.opt.RepeatabilityDoF > 0 || len(f.bs)-f.d.groups-f.d.lean < 5 {
		out.BorrowedMM = f.known.s
	}
	ps := make([]point, len(f.points))
	for j, w := range p.Sums {
		for i := range ps {
			ps[i] = f.points[i]
			s := f.points[i].sums[j]
			ps[i].lean, ps[i].cov = [2]float64{s.value, s.value}, [3]float64{s.variance, 0, s.variance}
		}
		a := summarise(append([]point(nil), ps...))
		zero := 0.0
		for _, h := range w.Heights {
			zero += h * f.d.zero
		}
		out.Sums = append(out.Sums, estimate(a, zero))
	}
	for i := range f.bs {
		b := &f.bs[i]
		out.Looks = append(out.Looks, Look{Curve: b.track, T: b.t, X: m.mid + m.half*place(b.th),
			MM: b.z - f.lineOff(i), N: b.n})
	}
	return out
}

// lineOff is what a knock and the drift brought to a block.
func (f *fitting) lineOff(i int) float64 {
	first := f.d.form + f.d.drift
	own := f.bs[i].group
	for k := range f.bs {
		if f.bs[k].track == f.bs[i].track {
			own = f.bs[k].group
			break
		}
	}
	z := f.coef[first+f.bs[i].group] - f.coef[first+own]
	for j := range drifts {
		z += f.coef[f.d.form+j] * f.d.rows[i][f.d.form+j]
	}
	return z
}

// lineScatter is the root mean square of the kept readings about the fitted curves; NaN where nothing is left to show
// it.
func (f *fitting) lineScatter() float64 {
	curve := f.fitted()
	var ss float64
	n := 0
	at := 0
	for i := range f.segs {
		g := &f.segs[i]
		if g.why != kept || g.n == 0 {
			continue
		}
		for at+1 < len(f.bs) && f.bs[at].track < g.track {
			at++
		}
		for at+1 < len(f.bs) && f.bs[at+1].track == g.track && math.Abs(f.bs[at+1].t-g.t) <= math.Abs(f.bs[at].t-g.t) {
			at++
		}
		tr := &f.in.tracks[g.track]
		b := &f.bs[at]
		rise := 0.0 // of the curve, by its neighbour on the same way
		if at+1 < len(f.bs) && f.bs[at+1].track == b.track && f.bs[at+1].dir == b.dir && f.bs[at+1].th != b.th {
			rise = (curve[at+1] - curve[at]) / (f.bs[at+1].th - b.th)
		}
		for j := g.lo; j < g.hi; j++ {
			if tr.why[j] == kept {
				ss += sq(tr.z[j] - curve[at] - rise*(tr.th[j]-b.th))
				n++
			}
		}
	}
	if free := n - f.d.groups - f.d.lean; free > 0 {
		return math.Sqrt(ss / float64(free))
	}
	return math.NaN()
}

// fitted is the curve at each block, as fitted, form and drift included.
func (f *fitting) fitted() []float64 {
	out := make([]float64, len(f.bs))
	for i, x := range f.d.rows {
		out[i] = f.d.zero
		for j, c := range f.coef {
			out[i] += c * x[j]
		}
	}
	return out
}
