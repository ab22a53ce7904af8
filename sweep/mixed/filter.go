package mixed

import "math"

// noise is the shape of the noise in time: white noise of unit variance (times each block's own) plus a slow part of
// the given variance. The slow part is correlated over tau seconds, exponentially (an Ornstein-Uhlenbeck process; with
// tau as long as the sweep it behaves as a random walk). Given several taus in even ratio it is the sum of as many such
// processes of equal variance, whose spectrum falls as one over the frequency. What the display rounds off is one more
// such process, and noise within a band of frequencies a process of its own.
type noise struct {
	slow  float64   // variance of the slow part, relative to the white
	tau   []float64 // seconds
	steps steps
	band  band

	together float64 // correlation of the slow part of two indicators (see pair.go)
}

// steps is the part of the rounding error that lasts as long as the reading stands still.
type steps struct{ variance, tau float64 } // relative to the white; seconds

// whiten runs the columns of the design through the innovations of that noise and returns the sums of products of the
// result and the log determinant of the noise's covariance. Being Markov, the noise costs one small filter a column, so
// the whole is linear in the blocks.
func (d *design) whiten(bs []block, nz noise) (gram sym, logDet float64) {
	if nz.together != 0 {
		return d.whitenPair(nz)
	}
	if nz.slow == 0 {
		nz.tau = nz.tau[:1]
	}
	m := len(nz.tau)
	if m == 1 && nz.steps.variance == 0 && nz.band.variance == 0 {
		return d.whitenOne(bs, nz.slow, nz.tau[0])
	}
	gram = newSym(d.cols)
	k := newKalman(nz, d.cols)
	sums := newSums(gram)
	for i := range bs {
		if i == 0 || bs[i].track != bs[i-1].track {
			k.begin()
		} else {
			k.wait(math.Abs(bs[i].t - bs[i-1].t))
		}
		logDet += math.Log(k.read(d.rows[i], bs[i].noise, sums.next()))
	}
	sums.flush()
	return gram, logDet
}

// whitenOne is whiten for a single process.
func (d *design) whitenOne(bs []block, slow, tau float64) (gram sym, logDet float64) {
	gram = newSym(d.cols)
	state, sums := make([]float64, d.cols), newSums(gram)
	p := slow
	for i := range bs {
		fade := 1.0
		if i == 0 || bs[i].track != bs[i-1].track {
			clear(state)
			p = slow
		} else if slow > 0 {
			fade = math.Exp(-math.Abs(bs[i].t-bs[i-1].t) / tau)
			p = fade*fade*p + slow*(1-fade*fade)
		}
		v := p + bs[i].noise
		gain, scale := p/v, 1/math.Sqrt(v)
		logDet += math.Log(v)
		row := d.rows[i]
		out, st := sums.next()[:len(row)], state[:len(row)]
		for j, x := range row {
			was := st[j] * fade
			e := x - was
			out[j] = e * scale
			st[j] = was + gain*e
		}
		p *= 1 - gain
	}
	sums.flush()
	return gram, logDet
}

// sums adds the squares and products of rows to a matrix, four rows at a time.
type sums struct {
	to   sym
	rows []float64
	n    int
}

func newSums(to sym) *sums { return &sums{to: to, rows: make([]float64, 4*to.n)} }

// next returns room for one more row, to be filled before the next call.
func (s *sums) next() []float64 {
	if s.n == 4 {
		s.to.rank4(s.rows)
		s.n = 0
	}
	s.n++
	return s.rows[(s.n-1)*s.to.n : s.n*s.to.n]
}

func (s *sums) flush() {
	for i := range s.n {
		s.to.rank1(s.rows[i*s.to.n:(i+1)*s.to.n], 1)
	}
	s.n = 0
}
