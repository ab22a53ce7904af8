package uncertainty

import (
	"math"
	"slices"
	"sort"

	"gonum.org/v1/gonum/integrate/quad"
	"gonum.org/v1/gonum/mathext"
)

// Term is a pair of values, each with a t distribution, with its share of a Mixture.
type Term struct {
	Weight float64
	Mean   [2]float64
	Cov    [3]float64 // squared scale of the first value, product, squared scale of the second
	DoF    [2]float64 // +Inf where a scale is known
}

// Mixture is what is known of two values: t distributions, each with its weight. The interval, the standard
// uncertainty, the degrees of freedom and every probability of one result come from one Mixture, so that they cannot
// contradict each other.
type Mixture []Term

// Mean is the weighted mean of the two values.
func (m Mixture) Mean() (mean [2]float64) {
	for _, t := range m {
		mean[0] += t.Weight * t.Mean[0]
		mean[1] += t.Weight * t.Mean[1]
	}
	return mean
}

// Covariance is xx, xy and yy, by the terms' scales and by how their means differ.
func (m Mixture) Covariance() (cov [3]float64) {
	mean := m.Mean()
	for _, t := range m {
		x, y := t.Mean[0]-mean[0], t.Mean[1]-mean[1]
		cov[0] += t.Weight * (t.Cov[0] + x*x)
		cov[1] += t.Weight * (t.Cov[1] + x*y)
		cov[2] += t.Weight * (t.Cov[2] + y*y)
	}
	return cov
}

// Correlation is that of the two values by their covariance; 0 where one is known exactly.
func (m Mixture) Correlation() float64 {
	c := m.Covariance()
	if c[0]*c[2] == 0 {
		return 0
	}
	return c[1] / math.Sqrt(c[0]*c[2])
}

// With adds an independent part whose covariance is known. A t and a normal variate do not add up to a t; each term
// gets the degrees of freedom with which the squares of the 95 % half widths add up. (The Welch-Satterthwaite formula
// would make more of them, and halve an interval of one degree of freedom by adding a part to it.)
func (m Mixture) With(cov [3]float64) Mixture {
	out := append(Mixture(nil), m...)
	for i := range out {
		t := &out[i]
		for k := range t.DoF {
			if own, part := t.Cov[2*k], cov[2*k]; part > 0 {
				square := (squaredFactors.at(t.DoF[k])*own + squaredFactors.at(math.Inf(1))*part) / (own + part)
				t.DoF[k] = squaredFactors.dof(square)
			}
		}
		for k := range t.Cov {
			t.Cov[k] += cov[k]
		}
	}
	return out
}

// squares are the squares of the 95 % factors of t distributions, at even steps of one over their degrees of freedom.
type squares [65]float64

var squaredFactors = func() (s squares) {
	for i := range s {
		s[i] = sq(Factor(0.95, 1/(float64(i)/float64(len(s)-1))))
	}
	return s
}()

func (s *squares) at(dof float64) float64 {
	x := float64(len(s)-1) / math.Max(dof, 1)
	i := min(int(x), len(s)-2)
	return s[i] + (x-float64(i))*(s[i+1]-s[i])
}

func (s *squares) dof(square float64) float64 {
	i := sort.SearchFloat64s(s[:], square) - 1 // s[i] < square <= s[i+1]
	if i < 0 {
		return math.Inf(1)
	}
	i = min(i, len(s)-2)
	return float64(len(s)-1) / (float64(i) + (square-s[i])/(s[i+1]-s[i]))
}

// Inside is the probability that one value (0 or 1) lies between two limits.
func (m Mixture) Inside(value int, lower, upper float64) (p float64) {
	for _, t := range m {
		p += t.Weight * Inside(t.Mean[value], math.Sqrt(t.Cov[2*value]), t.DoF[value], lower, upper)
	}
	return math.Min(1, p)
}

// InsideBoth is the probability that both values lie within limit of zero. It is never above that of either value
// alone.
func (m Mixture) InsideBoth(limit float64) (p float64) {
	for _, t := range m {
		p += t.Weight * t.insideBoth(limit)
	}
	return math.Min(p, math.Min(m.Inside(0, -limit, limit), m.Inside(1, -limit, limit)))
}

// far is how many scales from the mean the tail of a t distribution is lighter than some 1e-8.
func far(dof float64) float64 {
	if dof > 200 {
		return 7
	}
	return math.Min(math.Pow(1e8, 1/dof)*(2+8/math.Sqrt(dof)), 1e8)
}

// legendreNodes and legendreWeights are for an integral from -1 to 1.
var legendreNodes, legendreWeights = func() (x, w []float64) {
	x, w = make([]float64, 24), make([]float64, 24)
	quad.Legendre{}.FixedLocations(x, w, -1, 1)
	return x, w
}()

// insideBoth integrates over the first value; given it, the second has a t distribution with one more degree of freedom
// (Kotz and Nadarajah 2004, Multivariate t distributions and their applications, 1.11; from memory).
func (t *Term) insideBoth(limit float64) float64 {
	a, b := math.Sqrt(t.Cov[0]), math.Sqrt(t.Cov[2])
	if !(a > 0) || !(b > 0) {
		return math.Min(Inside(t.Mean[0], a, t.DoF[0], -limit, limit), Inside(t.Mean[1], b, t.DoF[1], -limit, limit))
	}
	rho := t.Cov[1] / (a * b)
	rest := b * math.Sqrt(math.Max(1e-12, 1-rho*rho))
	dof := math.Min(t.DoF[0], t.DoF[1])
	reach := far(dof)
	lo, hi := math.Max(-reach, (-limit-t.Mean[0])/a), math.Min(reach, (limit-t.Mean[0])/a)
	if lo >= hi {
		return 0
	}
	density := newDensity(dof)
	more := 1.0 // (dof + x²)/(dof + 1)
	// With x = sinh(y) a heavy tail is short.
	from, to := math.Asinh(lo), math.Asinh(hi)
	var sum float64
	cuts := []float64{from, math.Min(to, math.Max(from, 0)), to} // the second is the top of the density
	if edge := rest / (math.Abs(rho) * b); edge < 0.5 {
		// strongly correlated: the second value enters and leaves steeply
		for _, l := range [2]float64{-limit, limit} {
			x := (l - t.Mean[1]) / (rho * b)
			width := 3 * edge
			if !math.IsInf(dof, 1) {
				width *= math.Sqrt((dof + x*x) / (dof + 1))
			}
			for _, c := range [3]float64{x - width, x, x + width} {
				cuts = append(cuts, math.Min(to, math.Max(from, math.Asinh(c))))
			}
		}
		slices.Sort(cuts)
	}
	for k := range len(cuts) - 1 {
		mid, half := (cuts[k]+cuts[k+1])/2, (cuts[k+1]-cuts[k])/2
		if half <= 0 {
			continue
		}
		for i, node := range legendreNodes {
			y := mid + half*node
			x := math.Sinh(y)
			if !math.IsInf(dof, 1) {
				more = (dof + x*x) / (dof + 1)
			}
			sum += half * legendreWeights[i] * math.Cosh(y) * density.at(x) *
				Inside(t.Mean[1]+rho*b*x, rest*math.Sqrt(more), dof+1, -limit, limit)
		}
	}
	return sum
}

// HalfWidth is how far from the mean of one value an interval must reach on both sides to hold the given share.
func (m Mixture) HalfWidth(value int, share float64) float64 {
	mean := m.Mean()[value]
	low, high, narrow := math.Inf(1), 0.0, math.Inf(1)
	var square float64
	densities := make([]density, len(m))
	for i, t := range m {
		dof, off, scale := t.DoF[value], math.Abs(t.Mean[value]-mean), math.Sqrt(t.Cov[2*value])
		factor := factorNear(share, dof)
		low, high = math.Min(low, factor/bracket*scale), math.Max(high, off+factor*bracket*scale)
		narrow = math.Min(narrow, scale)
		square += t.Weight * (4*off*off + sq(factor*scale))
		if i > 0 && dof == m[i-1].DoF[value] {
			densities[i] = densities[i-1]
		} else {
			densities[i] = newDensity(dof)
		}
	}
	if !(high > 0) {
		return 0
	}
	at := math.Min(math.Max(math.Sqrt(square), low), high)
	for range 60 { // Newton's steps, kept between bounds that close in
		var held, slope float64
		for i, t := range m {
			scale := math.Sqrt(t.Cov[2*value])
			off := math.Abs(t.Mean[value] - mean)
			if !(scale > 0) {
				if off <= at {
					held += t.Weight
				}
				continue
			}
			x, y := (at-off)/scale, (at+off)/scale
			if off < 1e-3*scale { // the two sides differ by less than a millionth
				held += t.Weight * (1 - 2*TCDF(-at/scale, t.DoF[value]))
			} else {
				held += t.Weight * (TCDF(x, t.DoF[value]) - TCDF(-y, t.DoF[value]))
			}
			slope += t.Weight * (densities[i].at(x) + densities[i].at(y)) / scale
		}
		if held < share {
			low = at
		} else {
			high = at
		}
		next := at - (held-share)/slope
		if !(next > low && next < high) {
			next = (low + high) / 2
		}
		if step := math.Abs(next - at); step < 1e-3*narrow || step < 1e-7*at { // it leaves about its square, in scales
			return next
		}
		at = next
	}
	return at
}

// bracket is by how much factorNear may be off.
const bracket = 1.01

// factorNear returns about the factor of a share: where the share is 95 % by a table, since a live lean asks for many.
func factorNear(share, dof float64) float64 {
	if share == 0.95 {
		return math.Sqrt(squaredFactors.at(dof))
	}
	return Factor(share, dof)
}

// Freedom is the degrees of freedom of one value's variance: they match the variance that its logarithm has over the
// mixture, which for a chi-squared variate is trigamma(dof/2).
func (m Mixture) Freedom(value int) float64 {
	mean := m.Mean()[value]
	var first, second, own float64
	for _, t := range m {
		v := math.Log(math.Max(t.Cov[2*value]+sq(t.Mean[value]-mean), 1e-300))
		first += t.Weight * v
		second += t.Weight * v * v
		if !math.IsInf(t.DoF[value], 1) {
			own += t.Weight * trigamma(t.DoF[value]/2)
		}
	}
	spread := own + math.Max(0, second-first*first)
	if spread < 1e-9 {
		return math.Inf(1)
	}
	return math.Max(1, 2*inverseTrigamma(spread))
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

// density is that of a t distribution of unit scale.
type density struct{ dof, front float64 }

func newDensity(dof float64) density {
	if math.IsInf(dof, 1) || dof > 1e6 {
		return density{math.Inf(1), 1 / math.Sqrt(2*math.Pi)}
	}
	dof = math.Max(dof, 1)
	a, _ := math.Lgamma((dof + 1) / 2)
	b, _ := math.Lgamma(dof / 2)
	return density{dof, math.Exp(a-b) / math.Sqrt(dof*math.Pi)}
}

func (d density) at(x float64) float64 {
	if math.IsInf(d.dof, 1) {
		return d.front * math.Exp(-x*x/2)
	}
	return d.front * math.Exp(-(d.dof+1)/2*math.Log1p(x*x/d.dof))
}

func sq(x float64) float64 { return x * x }
