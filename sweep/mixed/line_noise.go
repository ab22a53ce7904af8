package mixed

import (
	"math"
	"math/rand/v2"
)

// Replicas draws what the noise of a measurement along lines might have been, so that the uncertainty of what is no
// linear sum of the readings, such as a straightness, can be found by drawing (JCGM 101:2008, propagation of
// distributions; from memory).
type Replicas struct {
	f      *fitting
	points []point
	levels *levels
	rng    *rand.Rand
}

// Replicas begins a sequence that is the same for the same readings.
func (l *LineFit) Replicas() *Replicas {
	return &Replicas{f: l.f, points: normalise(append([]point(nil), l.f.points...)), levels: l.f.levels(),
		rng: rand.New(rand.NewPCG(1, uint64(len(l.Looks))))}
}

// Draw writes one draw of the noise of each look, in mm.
func (r *Replicas) Draw(out []float64) {
	f := r.f
	p := &r.points[0]
	for at, pick := 0, r.rng.Float64(); at < len(r.points); at++ {
		p = &r.points[at]
		if pick -= p.weight; pick < 0 {
			break
		}
	}
	s := math.Sqrt(p.s2 * p.dof / r.chiSquared(p.dof))
	nz := r.levels.noise(p.h)
	for i := range f.bs {
		out[i] = s * math.Sqrt(f.bs[i].noise) * r.rng.NormFloat64()
	}
	process := func(variance, tau float64) {
		x := 0.0
		for i := range f.bs {
			fade := 0.0
			if i > 0 && f.bs[i].track == f.bs[i-1].track {
				fade = math.Exp(-math.Abs(f.bs[i].t-f.bs[i-1].t) / tau)
			}
			x = fade*x + math.Sqrt(variance*(1-fade*fade))*r.rng.NormFloat64()
			out[i] += s * x
		}
	}
	if nz.slow > 0 {
		for _, tau := range nz.tau {
			process(nz.slow/float64(len(nz.tau)), tau)
		}
	}
	if nz.steps.variance > 0 {
		process(nz.steps.variance, nz.steps.tau)
	}
}

// chiSquared draws from that distribution: a sum of squares for few degrees of freedom, else as a cube of a normal
// value (Wilson and Hilferty 1931, The distribution of chi-square, PNAS 17:684-688; from memory). Between two whole
// numbers it takes one of them, so often that the mean is right.
func (r *Replicas) chiSquared(dof float64) float64 {
	if dof < 30 {
		sum := 0.0
		for range int(math.Max(1, math.Floor(dof+r.rng.Float64()))) {
			sum += sq(r.rng.NormFloat64())
		}
		return sum
	}
	c := 2 / (9 * dof)
	x := 1 - c + math.Sqrt(c)*r.rng.NormFloat64()
	return dof * x * x * x
}

// Fitted is the fitted curve at each look, its knocks and drift taken off.
func (l *LineFit) Fitted() []float64 {
	out := l.f.fitted()
	for i := range out {
		out[i] -= l.f.lineOff(i)
	}
	return out
}

// Form is what the model takes a form to be at a place of the line, in mm: the form's own part without its slope.
func (l *LineFit) Form(form int, x float64) (z float64) {
	p := basis{line: true}.at(((x-l.model.mid)/l.model.half + 1) * math.Pi)
	for k := 0; k < lineForms; k += 2 {
		a, b := p.next()
		z += a*l.f.coef[form*lineForms+k] + b*l.f.coef[form*lineForms+k+1]
	}
	return z
}
