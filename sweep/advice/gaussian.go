package advice

import "math"

// gaussian is a belief about the state (tilt, nod, then the tilt and nod effect of each adjuster): mean and covariance.
type gaussian struct {
	mean []float64
	cov  []float64 // row by row
}

func newGaussian(d int) gaussian {
	return gaussian{make([]float64, d), make([]float64, d*d)}
}

func (g *gaussian) clone() gaussian {
	return gaussian{append([]float64(nil), g.mean...), append([]float64(nil), g.cov...)}
}

// move carries the belief through x' = x + B m + w, with w of the given variance on each axis.
func (g *gaussian) move(m []float64, variance float64) {
	d := len(g.mean)
	for r := range 2 {
		for j, mj := range m {
			if mj == 0 {
				continue
			}
			from := 2 + 2*j + r
			g.mean[r] += mj * g.mean[from]
			for c := range d {
				g.cov[r*d+c] += mj * g.cov[from*d+c]
			}
		}
	}
	for r := range 2 {
		for j, mj := range m {
			if mj == 0 {
				continue
			}
			from := 2 + 2*j + r
			for c := range d {
				g.cov[c*d+r] += mj * g.cov[c*d+from]
			}
		}
	}
	g.cov[0] += variance
	g.cov[d+1] += variance
}

// measure takes in a value of one axis (0 tilt, 1 nod) and returns the logarithm of how likely it was thought to be.
func (g *gaussian) measure(axis int, value, u float64) float64 {
	d := len(g.mean)
	s := g.cov[axis*d+axis] + u*u
	nu := value - g.mean[axis]
	gain := make([]float64, d)
	for i := range d {
		gain[i] = g.cov[i*d+axis] / s
	}
	row := append([]float64(nil), g.cov[axis*d:axis*d+d]...)
	for i := range d {
		g.mean[i] += gain[i] * nu
		for c := range d {
			g.cov[i*d+c] -= gain[i] * row[c]
		}
	}
	for i := range d { // rounding must not make a variance negative, nor the matrix lopsided
		g.cov[i*d+i] = math.Max(g.cov[i*d+i], 1e-18)
		for c := range i {
			v := (g.cov[i*d+c] + g.cov[c*d+i]) / 2
			g.cov[i*d+c], g.cov[c*d+i] = v, v
		}
	}
	return -0.5 * (nu*nu/s + math.Log(2*math.Pi*s))
}

// pair is a Gaussian over the lean alone.
type pair struct {
	x, y       float64
	xx, xy, yy float64 // covariance
}

// after foretells the lean after a move, without the disturbance.
func (g *gaussian) after(m []float64) pair {
	d := len(g.mean)
	p := pair{g.mean[0], g.mean[1], g.cov[0], g.cov[1], g.cov[d+1]}
	for j, mj := range m {
		if mj == 0 {
			continue
		}
		a := 2 + 2*j
		p.x += mj * g.mean[a]
		p.y += mj * g.mean[a+1]
		p.xx += 2 * mj * g.cov[a]
		p.yy += 2 * mj * g.cov[d+a+1]
		p.xy += mj * (g.cov[a+1] + g.cov[d+a])
		for k, mk := range m {
			if mk == 0 {
				continue
			}
			b := 2 + 2*k
			p.xx += mj * mk * g.cov[a*d+b]
			p.yy += mj * mk * g.cov[(a+1)*d+b+1]
			p.xy += mj * mk * g.cov[a*d+b+1]
		}
	}
	p.xx, p.yy = math.Max(p.xx, 0), math.Max(p.yy, 0)
	return p
}

// inside is the probability that both axes lie within limit of zero: one of them by Gauss-Legendre quadrature over the
// part of the limits where it can be, the other in closed form given the first.
func (p pair) inside(limit float64) float64 {
	sx, sy := math.Sqrt(p.xx), math.Sqrt(p.yy)
	tiny := 1e-9 * limit
	if sx < tiny && sy < tiny {
		return unit(math.Abs(p.x) <= limit) * unit(math.Abs(p.y) <= limit)
	}
	if sx < tiny {
		return unit(math.Abs(p.x) <= limit) * (phi((limit-p.y)/sy) - phi((-limit-p.y)/sy))
	}
	if sy < tiny {
		return unit(math.Abs(p.y) <= limit) * (phi((limit-p.x)/sx) - phi((-limit-p.x)/sx))
	}
	lo, hi := math.Max(-limit, p.x-5.5*sx), math.Min(limit, p.x+5.5*sx)
	if lo >= hi {
		return 0
	}
	if math.Abs(p.y)-6*sy > limit {
		return 0
	}
	slope := p.xy / p.xx
	rest := 1 / math.Sqrt(math.Max(p.yy-slope*p.xy, tiny*tiny))
	mid, half := (lo+hi)/2, (hi-lo)/2
	var sum float64
	for i, t := range legendreAt {
		for _, sign := range [2]float64{-1, 1} {
			x := mid + sign*half*t
			y := p.y + slope*(x-p.x)
			sum += legendreBy[i] * density((x-p.x)/sx) * (phi((limit-y)*rest) - phi((-limit-y)*rest))
		}
	}
	return math.Min(1, sum*half/sx)
}

// Nodes and weights of the sixteen-point Gauss-Legendre rule (Abramowitz and Stegun, table 25.4), one half of them.
var (
	legendreAt = [8]float64{0.0950125098376374, 0.2816035507792589, 0.4580167776572274, 0.6178762444026438,
		0.7554044083550030, 0.8656312023878318, 0.9445750230732326, 0.9894009349916499}
	legendreBy = [8]float64{0.1894506104550685, 0.1826034150449236, 0.1691565193950025, 0.1495959888165767,
		0.1246289712555339, 0.0951585116824928, 0.0622535239386479, 0.0271524594117541}
)

func unit(yes bool) float64 {
	if yes {
		return 1
	}
	return 0
}
