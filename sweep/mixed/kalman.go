package mixed

import "math"

// kalman gives the innovations of several series at once under the same noise (Kalman 1960, A new approach to linear
// filtering and prediction problems, Journal of Basic Engineering 82:35-45; from memory). The noise is a sum of
// exponentially correlated processes, one state each, and perhaps a band, which has two; the one that does not show in
// the readings comes last.
type kalman struct {
	each, tau []float64 // variance and correlation time of the processes of one state
	band      band
	seen      int       // states that add up to the reading
	n         int       // all states
	cov       sym       // of the states, given the readings so far
	state     []float64 // of each series, beside each other
	gain      []float64
	fade      []float64
}

func newKalman(nz noise, series int) *kalman {
	k := &kalman{band: nz.band}
	if nz.slow > 0 {
		for _, tau := range nz.tau {
			k.tau, k.each = append(k.tau, tau), append(k.each, nz.slow/float64(len(nz.tau)))
		}
	}
	if nz.steps.variance > 0 {
		k.tau, k.each = append(k.tau, nz.steps.tau), append(k.each, nz.steps.variance)
	}
	k.seen = len(k.tau)
	k.n = k.seen
	if k.band.variance > 0 {
		k.seen, k.n = k.seen+1, k.n+2
	}
	k.cov, k.gain, k.fade = newSym(k.n), make([]float64, k.n), make([]float64, len(k.tau))
	k.state = make([]float64, k.n*series)
	return k
}

// begin forgets what went before: nothing is known but the variances.
func (k *kalman) begin() {
	clear(k.state)
	clear(k.cov.a)
	for i, v := range k.each {
		k.cov.row(i)[i] = v
	}
	for i := len(k.each); i < k.n; i++ {
		k.cov.row(i)[i] = k.band.variance
	}
}

// wait lets dt seconds pass.
func (k *kalman) wait(dt float64) {
	for i, tau := range k.tau {
		k.fade[i] = math.Exp(-dt / tau)
	}
	m := len(k.tau)
	for i, f := range k.fade {
		r := k.cov.row(i)
		for j, g := range k.fade {
			r[j] *= f * g
		}
		r[i] += k.each[i] * (1 - f*f)
		for j := m; j < k.n; j++ {
			r[j] *= f
			k.cov.row(j)[i] *= f
		}
	}
	for at := 0; at < len(k.state); at += k.n {
		s := k.state[at:]
		for i, f := range k.fade {
			s[i] *= f
		}
	}
	if k.n == m {
		return
	}
	f := k.band.over(dt)
	a, b := k.cov.row(m), k.cov.row(m+1)
	for j := range a {
		a[j], b[j] = f.turn(a[j], b[j])
	}
	for i := range k.n {
		r := k.cov.row(i)
		r[m], r[m+1] = f.turn(r[m], r[m+1])
	}
	v := k.band.variance
	a[m] += v * (1 - f[0]*f[0] - f[1]*f[1])
	b[m+1] += v * (1 - f[2]*f[2] - f[3]*f[3])
	cross := v * (f[0]*f[2] + f[1]*f[3])
	a[m+1] -= cross
	b[m] -= cross
	for at := m; at < len(k.state); at += k.n {
		k.state[at], k.state[at+1] = f.turn(k.state[at], k.state[at+1])
	}
}

// read takes one reading of each series, with white noise of the given variance, writes what was not foreseen of it,
// scaled to unit variance, and returns that variance.
func (k *kalman) read(xs []float64, white float64, out []float64) float64 {
	v := white
	for i := range k.n {
		k.gain[i] = 0
		for _, x := range k.cov.row(i)[:k.seen] {
			k.gain[i] += x
		}
	}
	for _, g := range k.gain[:k.seen] {
		v += g
	}
	scale := 1 / math.Sqrt(v)
	for j, x := range xs {
		s := k.state[j*k.n : j*k.n+k.n]
		e := x
		for _, y := range s[:k.seen] {
			e -= y
		}
		out[j] = e * scale
		e /= v
		for i, g := range k.gain {
			s[i] += g * e
		}
	}
	for i, g := range k.gain {
		r := k.cov.row(i)
		for j, h := range k.gain {
			r[j] -= g * h / v
		}
	}
	return v
}
