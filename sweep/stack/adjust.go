package stack

import (
	"math"

	"tramd/sweep/uncertainty"
)

// confidence of the intervals, and of the test whether measurements agree.
const confidence = 0.95

// observation is one measured value in one plane.
type observation struct {
	rel  *relation
	from int // index into the stack's relations
	v, u float64
	dof  float64
}

// adjustment is least squares of the bodies against the table.
type adjustment struct {
	obs     []observation
	x       [bodies]float64
	inverse square // of the normal equations, which are singular where a body hangs on nothing
	rank    int
	chi2    float64
}

// adjust solves for the bodies, leaving one observation out (-1: none).
func adjust(obs []observation, without int) adjustment {
	a := adjustment{}
	var n square
	var b [bodies]float64
	for k, o := range obs {
		if k == without {
			continue
		}
		a.obs = append(a.obs, o)
		w := 1 / (o.u * o.u)
		for i, p := range o.rel.weight {
			b[i] += w * p * o.v
			for j, q := range o.rel.weight {
				n[i][j] += w * p * q
			}
		}
	}
	a.inverse, a.rank = generalInverse(n)
	for i := range a.x {
		for j := range b {
			a.x[i] += a.inverse[i][j] * b[j]
		}
	}
	for _, o := range a.obs {
		e := (o.v - a.value(o.rel)) / o.u
		a.chi2 += e * e
	}
	return a
}

// square is a symmetric matrix over the bodies.
type square [bodies][bodies]float64

// generalInverse returns a generalised inverse of n and n's rank, by sweeping n, scaled to a unit diagonal since
// uncertainties may differ by far, on its largest pivot as long as there is one (Goodnight 1979, A tutorial on the
// SWEEP operator, The American Statistician 33:149-158, from memory). What the observations settle, and its covariance,
// are the same for every generalised inverse.
func generalInverse(n square) (inverse square, rank int) {
	var scale [bodies]float64
	var swept [bodies]bool
	for i := range scale {
		scale[i] = 1
		if n[i][i] > 0 {
			scale[i] = 1 / math.Sqrt(n[i][i])
		}
	}
	for i := range bodies {
		for j := range bodies {
			n[i][j] *= scale[i] * scale[j]
		}
	}
	for {
		k := -1
		for i := range bodies {
			if !swept[i] && n[i][i] > 1e-12 && (k < 0 || n[i][i] > n[k][k]) {
				k = i
			}
		}
		if k < 0 {
			break
		}
		swept[k] = true
		rank++
		n.sweep(k)
	}
	for i := range bodies {
		for j := range bodies {
			if swept[i] && swept[j] {
				inverse[i][j] = n[i][j] * scale[i] * scale[j]
			}
		}
	}
	return inverse, rank
}

// sweep exchanges variable k with its equation.
func (n *square) sweep(k int) {
	pivot := n[k][k]
	for j := range bodies {
		n[k][j] /= pivot
	}
	for i := range bodies {
		if i == k {
			continue
		}
		f := n[i][k]
		for j := range bodies {
			n[i][j] -= f * n[k][j]
		}
		n[i][k] = -f / pivot
	}
	n[k][k] = 1 / pivot
}

func (a *adjustment) value(r *relation) (v float64) {
	for i, w := range r.weight {
		v += w * a.x[i]
	}
	return v
}

// shares is by how much each observation goes into a relation; ok is false where the observations do not settle it.
func (a *adjustment) shares(r *relation) (shares []float64, ok bool) {
	var row, back [bodies]float64
	for i := range row {
		for j, w := range r.weight {
			row[i] += a.inverse[i][j] * w
		}
	}
	for _, o := range a.obs {
		s := 0.0
		for i, w := range o.rel.weight {
			s += row[i] * w
		}
		s /= o.u * o.u
		shares = append(shares, s)
		for i, w := range o.rel.weight {
			back[i] += s * w
		}
	}
	for i, w := range r.weight {
		if math.Abs(back[i]-w) > 1e-6 {
			return nil, false
		}
	}
	return shares, true
}

// covariance of two relations.
func (a *adjustment) covariance(p, q *relation) (c float64) {
	for i, w := range p.weight {
		for j, v := range q.weight {
			c += w * v * a.inverse[i][j]
		}
	}
	return c
}

// free is how many measurements there are more than needed.
func (a *adjustment) free() int { return len(a.obs) - a.rank }

// agree reports whether the residuals are no larger than chance makes them in all but one of twenty cases.
func (a *adjustment) agree() bool {
	if a.free() == 0 {
		return true
	}
	return a.chi2 <= uncertainty.ChiSquaredQuantile(confidence, float64(a.free()))
}

// margin is by how much in chi-squared the one that is suspected must explain more than any other: what two
// measurements explain alike cannot be told apart.
const margin = 1.0

// suspect is the one observation without which the rest agree, -1 where there is none or more than one.
func suspect(obs []observation, all *adjustment) int {
	if all.agree() || all.free() < 2 {
		return -1
	}
	best, second, at := math.Inf(1), math.Inf(1), -1
	agrees := false
	for i := range obs {
		a := adjust(obs, i)
		if a.rank < all.rank { // the rest no longer hang together: nothing is left to hold it against
			continue
		}
		switch {
		case a.chi2 < best:
			best, second, at, agrees = a.chi2, best, i, a.agree()
		case a.chi2 < second:
			second = a.chi2
		}
	}
	if at < 0 || !agrees || second-best < margin {
		return -1
	}
	return at
}
