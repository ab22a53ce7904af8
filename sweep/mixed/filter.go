package mixed

import "math"

// noise is the shape of the noise in time: white noise of unit variance (times each block's own) plus a part that is
// correlated over tau seconds, with the given variance. It is the exponentially correlated (Ornstein-Uhlenbeck) process;
// with tau as long as the sweep it behaves as a random walk.
type noise struct {
	slow float64 // variance of the slow part, relative to the white
	tau  float64 // seconds
}

// whiten runs the columns of the design through the innovations of that noise and returns the sums of products of the
// result and the log determinant of the noise's covariance. Being Markov, the noise costs one scalar filter a column, so
// the whole is linear in the blocks.
func (d *design) whiten(bs []block, nz noise) (gram sym, logDet float64) {
	gram = newSym(d.cols)
	state, out := make([]float64, d.cols), make([]float64, d.cols)
	p := nz.slow
	for i := range bs {
		if i == 0 || bs[i].track != bs[i-1].track {
			for j := range state {
				state[j] = 0
			}
			p = nz.slow
		} else if nz.slow > 0 {
			f := math.Exp(-math.Abs(bs[i].t-bs[i-1].t) / nz.tau)
			for j := range state {
				state[j] *= f
			}
			p = f*f*p + nz.slow*(1-f*f)
		}
		v := p + bs[i].noise
		gain, scale := p/v, 1/math.Sqrt(v)
		logDet += math.Log(v)
		for j, x := range d.rows[i] {
			e := x - state[j]
			out[j] = e * scale
			state[j] += gain * e
		}
		p *= 1 - gain
		gram.rank1(out, 1)
	}
	return gram, logDet
}
