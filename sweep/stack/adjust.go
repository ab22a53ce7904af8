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

// spare returns the part of an observation's variance that the others do not share: 0 where it alone settles what it
// measures, nearly 1 where the others settle that much better.
func (a *adjustment) spare(o *observation) float64 {
	return math.Max(0, 1-a.covariance(o.rel, o.rel)/(o.u*o.u))
}

// component returns an observation's part in a sum of the adjusted bodies. Weights from uncertainties that are
// estimates themselves wander, and the sum with them (Meier 1953, Variance of a weighted mean, Biometrics 9:59-73, for
// any adjustment; from memory).
func (a *adjustment) component(o *observation, share float64) uncertainty.Component {
	return uncertainty.Component{U: o.u * math.Sqrt(1+4*a.spare(o)/o.dof), Sensitivity: share, DoF: o.dof}
}

// agree reports whether the residuals are no larger than chance makes them at the given confidence. The sum of squares
// is chi-squared where the uncertainties are known. Where they are estimates it is held against F (Welch 1951, On the
// comparison of several mean values, Biometrika 38:330-336; Johansen 1980 for any hypothesis, Biometrika 67:85-92; both
// from memory), which for a single closed chain is Student's t with the degrees of freedom of Welch and Satterthwaite.
func (a *adjustment) agree(confidence float64) bool {
	free := float64(a.free())
	if free == 0 {
		return true
	}
	loose := 0.0
	for i := range a.obs {
		s := a.spare(&a.obs[i])
		loose += s * s / a.obs[i].dof
	}
	limit := free + 2*loose*(free-1)/(free+2)
	return a.chi2 <= limit*uncertainty.FQuantile(confidence, free, free*(free+2)/(3*loose))
}

// Levels of the search for one that is wrong.
const (
	// margin is by how much in chi-squared the one that is suspected must explain more than any other: what two
	// measurements explain alike cannot be told apart.
	margin = 0.5
	// strayed is the confidence that one of sound measurements does not stray as far: so many single ones are asked
	// that the 5 of 100 of the sum of squares may grow by little.
	strayed = 0.97
	// rest is the confidence of the test that the others agree without the suspect.
	rest = 0.99
)

// strays reports whether the observation departs by more than chance from what the others say of it, and by how much
// in chi-squared; ok is false where the others say nothing of it. Asked are so many at once. One that is wrong shows
// here where the sum of all squares still hides it (Baarda 1968, A testing procedure for use in geodetic networks; from
// memory).
func (a *adjustment) strays(i, asked int, others *adjustment) (far bool, explains float64, ok bool) {
	o := &a.obs[i]
	shares, ok := others.shares(o.rel)
	if !ok {
		return false, 0, false
	}
	b := uncertainty.Budget{{U: o.u, Sensitivity: 1, DoF: o.dof}}
	for k, share := range shares {
		b = append(b, others.component(&others.obs[k], share))
	}
	limit := uncertainty.Factor(math.Pow(strayed, 1/float64(asked)), b.DoF()) * b.Combined()
	return math.Abs(o.v-others.value(o.rel)) > limit, a.chi2 - others.chi2, true
}

// verdict is what the observations say of each other.
type verdict struct {
	agree   bool
	suspect int // the one observation without which the rest agree, -1 where there is none or more than one
}

// hold returns whether the observations agree and, where they do not, which one is suspected.
func (a *adjustment) hold() verdict {
	v := verdict{agree: a.agree(confidence), suspect: -1}
	if a.free() < 2 {
		return v
	}
	best, second, at := -1.0, -1.0, -1
	fits := false
	for i := range a.obs {
		others := adjust(a.obs, i)
		far, explains, ok := a.strays(i, len(a.obs), &others)
		if !ok { // nothing is left to hold it against
			continue
		}
		v.agree = v.agree && !far
		switch {
		case explains > best:
			best, second, at, fits = explains, best, i, others.agree(rest)
		case explains > second:
			second = explains
		}
	}
	if !v.agree && at >= 0 && fits && best-second >= margin {
		v.suspect = at
	}
	return v
}
