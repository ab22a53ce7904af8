package mixed

import (
	"container/heap"
	"math"
)

const (
	enough  = 6.0  // log weights further below the best than this are left out
	mostHop = 1500 // grid points looked at
)

// repeatability is what is known of the white noise before the sweep: a standard deviation and the degrees of freedom it
// is worth.
type repeatability struct{ s, dof float64 }

// point is the model's answer at one point of the grid.
type point struct {
	h         hyper
	weight    float64 // log until normalised
	weightLog float64
	lean      [2]float64
	cov       [3]float64 // xx, xy, yy, in mm²
	factor    sym        // only of the heaviest point of a search
	s2        float64    // variance of the white noise of a typical block
	dof       float64
}

type searcher struct {
	d     *design
	bs    []block
	l     *levels
	known repeatability
	gram  map[[2]int8]white
	seen  map[hyper]bool
	room  sym     // for the next factor
	top   float64 // weight of the heaviest point so far, the only one that keeps its factor
	held  bool
}

type white struct {
	g      sym
	logDet float64
}

// search walks the grid outwards from its best point, best neighbours first, until what is left cannot matter.
func (s *searcher) search() []point {
	s.gram, s.seen = map[[2]int8]white{}, map[hyper]bool{}
	todo := &frontier{}
	push := func(h hyper) {
		if h.slow == 0 {
			h.tau = 0
		}
		if !s.seen[h] {
			s.seen[h] = true
			heap.Push(todo, s.at(h))
		}
	}
	// A drift and slow noise explain much the same, so there may be a hill for each; start on both.
	tops := [3]int8{int8(len(s.l.tau)) / 2, int8(len(s.l.tau)) - 1, int8(len(s.l.tau))}
	for i := range 24 {
		push(hyper{tau: tops[i>>3], slow: [2]int8{2, int8(len(s.l.slow)) / 2}[i&1], form: [2]int8{2, 4}[i>>1&1], fall: 1, drift: [2]int8{1, 4}[i>>2&1]})
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
		for i := range hyperAxes {
			for _, step := range [2]int8{-1, 1} {
				h := p.h
				v := h.axis(i)
				*v += step
				if *v < 0 || int(*v) >= s.l.count(i) || h.slow == 0 && i == 0 {
					continue
				}
				push(h)
			}
		}
	}
	return done
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
	d := s.d
	key := [2]int8{h.tau, h.slow}
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
	logDet := w.logDet
	for i, v := range d.precision(s.l, h) {
		c.row(i)[i] += v
		if i < d.form+d.drift {
			logDet -= math.Log(v)
		}
	}
	last := d.cols - 1
	c.row(last)[last] *= 1 + 1e-14
	c.cholesky()
	for i := range last {
		logDet += 2 * math.Log(c.row(i)[i])
	}
	rss := c.row(last)[last] * c.row(last)[last]
	free := float64(len(s.bs)-d.groups-d.extra-d.lean) + s.known.dof
	free = math.Max(free, 1)
	scale := rss + s.known.dof*s.known.s*s.known.s
	p := point{h: h, factor: c, dof: free, s2: scale / free}
	p.weight = -(logDet+free*math.Log(scale))/2 + s.l.prior(h)
	p.weightLog = p.weight
	p.corner(d)
	if s.held && p.weight <= s.top {
		p.factor = sym{}
		return p
	}
	s.top, s.held, s.room = p.weight, true, sym{}
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
	for i := range d.form {
		order := i/2%formOrders + 2
		out[i] = 1 / (f * f * formVariance(order, l.fall[h.fall]))
	}
	for i := range d.drift {
		v := l.drift[h.drift] * driftFall[i]
		out[d.form+i] = 1 / (v * v)
	}
	for i := d.form + d.drift; i < len(out); i++ {
		out[i] = 1e-9 // no opinion, but a column of zeros must not stop the solution
	}
	if d.extra > 0 {
		for _, i := range [3]int{byOffset, byPlay, byMove} {
			out[d.form+d.drift+i] = d.noise2 / (lostMotionSD * lostMotionSD)
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
