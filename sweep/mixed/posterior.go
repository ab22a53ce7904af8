package mixed

import (
	"container/heap"
	"maps"
	"math"
	"slices"

	"gonum.org/v1/gonum/mathext"
	"gonum.org/v1/gonum/stat/distuv"

	"tramd/sweep/uncertainty"
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
	factor    sym
	s2        float64 // variance of the white noise of a typical block
	dof       float64
}

type searcher struct {
	d     *design
	bs    []block
	l     *levels
	known repeatability
	gram  map[[2]int8]white
	seen  map[hyper]bool
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
	tops := [2]int8{int8(len(s.l.tau)) / 2, int8(len(s.l.tau)) - 1}
	for i := range 16 {
		push(hyper{tau: tops[i&1], slow: [2]int8{2, int8(len(s.l.slow)) / 2}[i>>1&1], form: [2]int8{2, 4}[i>>2&1], fall: 1, drift: [2]int8{1, 4}[i>>3&1]})
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
		w.g, w.logDet = d.whiten(s.bs, noise{slow: s.l.slow[h.slow], tau: s.l.tau[h.tau]})
		s.gram[key] = w
	}
	c := newSym(d.cols)
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

// answer is the posterior of the lean, in mm at the mean radius.
type answer struct {
	lean [2]float64
	cov  [3]float64
	dof  float64
	best point
}

// summarise averages over the grid. The half width of the interval is exact for the mixture of t distributions that the grid
// gives. The degrees of freedom match the mean and variance of the logarithm of the lean's variance, which itself has a
// distribution here; the standard uncertainty is the half width over their t factor, so that the three agree.
func summarise(ps []point, lean int) answer {
	var a answer
	ps = normalise(ps)
	var mean, square [2]float64
	for _, p := range ps {
		if a.best.factor.n == 0 || p.weight > a.best.weight {
			a.best = p
		}
		for i := range lean {
			a.lean[i] += p.weight * p.lean[i]
		}
		if lean == 2 {
			a.cov[1] += p.weight * p.cov[1] / math.Sqrt(p.cov[0]*p.cov[2])
		}
	}
	var mix [2]mixture
	for _, p := range ps {
		for i := range lean {
			e := p.lean[i] - a.lean[i]
			v := math.Log(p.cov[2*i] + e*e)
			mix[i].add(v, p.weight)
			mean[i] += p.weight * v
			square[i] += p.weight * v * v
		}
	}
	own := trigamma(a.best.dof / 2)
	a.dof = math.Inf(1)
	for i := range lean {
		a.dof = math.Min(a.dof, 2*inverseTrigamma(own+math.Max(0, square[i]-mean[i]*mean[i])))
	}
	a.dof = math.Max(a.dof, 1)
	for i := range lean {
		u := mix[i].halfWidth(confidence, a.best.dof) / uncertainty.Factor(confidence, a.dof)
		a.cov[2*i] = u * u
	}
	a.cov[1] *= math.Sqrt(a.cov[0] * a.cov[2])
	return a
}

// mixture is a histogram of log variances, each standing for a t distribution about zero.
type mixture struct{ weight map[int]float64 }

const mixtureStep = 0.1

func (m *mixture) add(logVariance, weight float64) {
	if m.weight == nil {
		m.weight = map[int]float64{}
	}
	m.weight[int(math.Round(logVariance/mixtureStep))] += weight
}

// halfWidth is the distance from zero that holds the given share.
func (m *mixture) halfWidth(share, dof float64) float64 {
	t := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: dof}
	keys := slices.Sorted(maps.Keys(m.weight)) // a fixed order, so that the same sweep gives the same digits
	if len(keys) == 0 {
		return 0
	}
	q := t.Quantile(0.5 + share/2)
	sd := func(k int) float64 { return math.Exp(float64(k) * mixtureStep / 2) }
	lo, hi := q*sd(keys[0]), q*sd(keys[len(keys)-1])
	for range 40 {
		mid := math.Sqrt(lo * hi)
		held := 0.0
		for _, k := range keys {
			held += m.weight[k] * (2*t.CDF(mid/sd(k)) - 1)
		}
		if held < share {
			lo = mid
		} else {
			hi = mid
		}
		if hi < lo*1.0005 {
			break
		}
	}
	return hi
}

func trigamma(x float64) float64 { return mathext.Zeta(2, x) }

func inverseTrigamma(y float64) float64 {
	x := 0.5 + 1/y
	for range 60 { // Newton on 1/trigamma, which is nearly linear
		t := trigamma(x)
		slope := -2 * mathext.Zeta(3, x)
		step := t * (1 - t/y) / slope
		x += step
		if !(x > 0.05) {
			x = 0.05
		}
		if math.Abs(step) < 1e-9*x {
			break
		}
	}
	return x
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
