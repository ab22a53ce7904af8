package mixed

import (
	"container/heap"
	"math"
)

const (
	enough  = 6.0  // log weights further below the best than this are left out
	mostHop = 1500 // grid points looked at

	foothills = 30.0 // log weights below the first hill from which a second one is still climbed
)

// repeatability is what is known of the white noise before the sweep: a standard deviation and the degrees of freedom
// it is worth.
type repeatability struct{ s, dof float64 }

// point is the model's answer at one point of the grid.
type point struct {
	h         hyper
	weight    float64 // log until normalised
	weightLog float64
	lean      [2]float64
	cov       [3]float64 // xx, xy, yy, in mm²
	factor    sym        // only of the heaviest point of a search
	sums      []summed   // of the coefficients, as the searcher asks for them
	s2        float64    // variance of the white noise of a typical block
	dof       float64
}

type searcher struct {
	d     *design
	bs    []block
	l     *levels
	known repeatability
	least float64     // variance of the white noise that rounding alone makes
	sums  [][]float64 // weights of the coefficients; nil where the lean alone is wanted
	gram  map[noiseLevel]white

	ofColumns map[[3]int8]priors // by form, fall and drift
	noise2    float64            // of the design when they were worked out

	seen map[hyper]float64
	room sym     // for the next factor
	top  float64 // weight of the heaviest point so far, the only one that keeps its factor
	held bool
	pace func() // may be nil
}

type white struct {
	g      sym
	logDet float64
}

// search walks the grid outwards from its best point, best neighbours first, until what is left cannot matter.
func (s *searcher) search() []point {
	s.gram, s.seen = map[noiseLevel]white{}, map[hyper]float64{}
	todo := &frontier{}
	var top point
	push := func(h hyper) float64 {
		if h.slow == 0 {
			h.tau, h.pair = 0, 0
		}
		if _, ok := s.seen[h]; !ok {
			p := s.at(h)
			s.seen[h] = p.weight
			if p.factor.n > 0 { // the heaviest so far: the room of the one before serves the next
				s.reuse(top.factor)
				top, p.factor = p, sym{}
			}
			heap.Push(todo, p)
		}
		return s.seen[h]
	}
	climb := func(h hyper, from int) hyper {
		height := push(h)
		for up := true; up; {
			up = false
			s.around(h, from, func(g hyper) {
				if w := push(g); w > height {
					h, height, up = g, w, true
				}
			})
		}
		return h
	}
	// A drift, slow noise and form explain much the same, so there may be a hill for each. The walk below gives up far
	// from the best, so each is climbed first: form and drift are cheap to change, the noise is not.
	taus := [3]int8{int8(len(s.l.tau)) / 2, int8(len(s.l.tau)) - 1, int8(len(s.l.tau))}
	var tops [2]hyper
	for k, slow := range [2]int8{2, int8(len(s.l.slow)) / 2} {
		height := math.Inf(-1)
		for i := range 6 {
			h := climb(hyper{tau: taus[i>>1], slow: slow, form: [2]int8{1, 4}[i&1], fall: 1, drift: 1}, 2)
			if w := s.seen[h]; w > height {
				tops[k], height = h, w
			}
		}
	}
	if s.seen[tops[1]] > s.seen[tops[0]] {
		tops[0], tops[1] = tops[1], tops[0]
	}
	summit := climb(tops[0], 0)
	if s.seen[tops[1]] > s.seen[summit]-foothills {
		climb(tops[1], 0)
	}
	var done []point
	best := math.Inf(-1)
	for todo.Len() > 0 && len(s.seen) < mostHop {
		p := heap.Pop(todo).(point)
		if p.weight < best-enough {
			break
		}
		best = math.Max(best, p.weight)
		done = append(done, p)
		s.around(p.h, 0, func(h hyper) { push(h) })
	}
	for i := range done {
		if done[i].h == top.h {
			done[i].factor = top.factor
		}
	}
	return done
}

// reuse takes a factor that is not asked for any more as room for another.
func (s *searcher) reuse(factor sym) {
	if factor.n > 0 {
		s.room = factor
	}
}

// near is the heaviest of a few points that a new part of the model may lead to: less slow noise, form and drift than
// at h.
func (s *searcher) near(h hyper, slows ...int8) point {
	best := s.at(h)
	for _, slow := range slows {
		for _, form := range [3]int8{0, 2, h.form} {
			for _, drift := range [2]int8{0, h.drift} {
				g := hyper{tau: h.tau, slow: slow, form: form, fall: h.fall, drift: drift, pair: h.pair}
				if slow == 0 {
					g.tau, g.pair = 0, 0
				}
				if p := s.at(g); p.weight > best.weight {
					best, s.d.noise2 = p, p.s2
				}
			}
		}
	}
	return best
}

// around visits the neighbours of a point along the axes from the given one on.
func (s *searcher) around(at hyper, from int, visit func(h hyper)) {
	for i := from; i < hyperAxes; i++ {
		for _, step := range [2]int8{-1, 1} {
			h := at
			v := h.axis(i)
			*v += step
			if !s.l.has(i, *v) || h.slow == 0 && (i == 0 || i == pairAxis) {
				continue
			}
			visit(h)
		}
	}
}

// normalise turns log weights into shares, and drops what cannot matter.
func normalise(ps []point) []point {
	best, total := math.Inf(-1), 0.0
	for _, p := range ps {
		best = math.Max(best, p.weight)
	}
	kept := ps[:0]
	for _, p := range ps {
		if p.weight >= best-enough {
			p.weight = math.Exp(p.weight - best)
			total += p.weight
			kept = append(kept, p)
		}
	}
	for i := range kept {
		kept[i].weight /= total
	}
	return kept
}

// at solves the mixed model equations (Henderson 1975) at one point of the grid.
func (s *searcher) at(h hyper) point {
	if s.pace != nil {
		s.pace()
	}
	d := s.d
	key := h.noise()
	w, ok := s.gram[key]
	if !ok {
		w.g, w.logDet = d.whiten(s.bs, s.l.noise(h))
		s.gram[key] = w
	}
	if s.room.n == 0 {
		s.room = newSym(d.cols)
	}
	c := s.room
	copy(c.a, w.g.a)
	priors := s.priors(h)
	for i, v := range priors.precision {
		c.row(i)[i] += v
	}
	last := d.cols - 1
	c.row(last)[last] *= 1 + 1e-14
	c.cholesky()
	logDet := w.logDet - priors.logDet + 2*c.logDiagonal(last)
	rss := c.row(last)[last] * c.row(last)[last]
	free := float64(len(s.bs)-d.groups-d.lean) + s.known.dof
	free = math.Max(free, 1)
	scale := rss + s.known.dof*s.known.s*s.known.s
	p := point{h: h, factor: c, dof: free, s2: math.Max(scale/free, s.least)}
	p.weight = -(logDet+free*math.Log(free*p.s2)+scale/p.s2-free)/2 + s.l.prior(h)
	p.weightLog = p.weight
	p.corner(d)
	if s.sums != nil {
		p.sums = p.weigh(s.sums)
	}
	if s.held && p.weight <= s.top {
		p.factor = sym{}
		return p
	}
	s.top, s.held, s.room = p.weight, true, sym{}
	return p
}

// priors is what the priors of the columns add at a point of the grid, and the logarithm of its determinant.
type priors struct {
	precision []float64
	logDet    float64
}

// priors returns those of a point, worked out once for all noises.
func (s *searcher) priors(h hyper) priors {
	if s.noise2 != s.d.noise2 || s.ofColumns == nil {
		s.ofColumns, s.noise2 = map[[3]int8]priors{}, s.d.noise2
	}
	key := [3]int8{h.form, h.fall, h.drift}
	p, ok := s.ofColumns[key]
	if !ok {
		p.precision = s.d.precision(s.l, h)
		for _, v := range p.precision[:s.d.form+s.d.drift+s.d.extra] {
			p.logDet += math.Log(v)
		}
		s.ofColumns[key] = p
	}
	return p
}

// corner reads the lean and its covariance off the last rows of the factor.
func (p *point) corner(d *design) {
	last := d.cols - 1
	y, i := p.factor.row(last), last-1
	if d.lean == 1 {
		r := p.factor.row(i)[i]
		p.lean[0] = y[i] / r
		p.cov[0] = p.s2 / (r * r)
		return
	}
	j := i - 1
	ljj, lij, lii := p.factor.row(j)[j], p.factor.row(i)[j], p.factor.row(i)[i]
	p.lean[1] = y[i] / lii
	p.lean[0] = (y[j] - lij*p.lean[1]) / ljj
	p.cov[2] = p.s2 / (lii * lii)
	p.cov[1] = -p.s2 * lij / (ljj * lii * lii)
	p.cov[0] = p.s2 * (1 + lij*lij/(lii*lii)) / (ljj * ljj)
}

// precision is what the priors add to the diagonal of the mixed model equations.
func (d *design) precision(l *levels, h hyper) []float64 {
	out := make([]float64, d.cols-1)
	f := l.form[h.form]
	for i, order := range d.orders {
		out[i] = 1 / (f * f * formVariance(order, l.fall[h.fall]))
	}
	d.partPrecision(out[d.form+drifts : d.form+d.drift])
	for i := range drifts {
		v := l.drift[h.drift] * driftFall[i]
		out[d.form+i] = 1 / (v * v)
	}
	for i := d.form + d.drift; i < len(out); i++ {
		out[i] = 1e-9 // no opinion, but a column of zeros must not stop the solution
	}
	if d.extra > 0 {
		for _, i := range [3]int{byOffset, byPlay, byMove} {
			out[d.form+d.drift+i] = d.noise2 / sq(lostMotionSD*d.step)
		}
		out[d.form+d.drift+byLag] = d.noise2 / (lagSD * lagSD)
		out[d.form+d.drift+byDelay] = d.noise2 / (delaySD * delaySD)
	}
	return out
}

// coefficients solves for everything at one point.
func (p *point) coefficients(d *design) []float64 {
	last := d.cols - 1
	b := append([]float64(nil), p.factor.row(last)[:last]...)
	p.factor.backward(b) // the leading block of the factor
	return b
}

// variance is that of a sum of coefficients with the given weights, which are lost.
func (p *point) variance(weights []float64) float64 {
	p.factor.forward(weights)
	var v float64
	for _, w := range weights {
		v += w * w
	}
	return p.s2 * v
}

// frontier is a heap of points, heaviest first.
type frontier []point

func (f frontier) Len() int           { return len(f) }
func (f frontier) Less(i, j int) bool { return f[i].weight > f[j].weight }
func (f frontier) Swap(i, j int)      { f[i], f[j] = f[j], f[i] }
func (f *frontier) Push(x any)        { *f = append(*f, x.(point)) }
func (f *frontier) Pop() any {
	old := *f
	p := old[len(old)-1]
	*f = old[:len(old)-1]
	return p
}
