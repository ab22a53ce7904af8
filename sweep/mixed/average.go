package mixed

import (
	"maps"
	"math"
	"slices"

	"gonum.org/v1/gonum/mathext"
	"gonum.org/v1/gonum/stat/distuv"

	"tramd/sweep/uncertainty"
)

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
		if p.weight > a.best.weight {
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
