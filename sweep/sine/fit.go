package sine

import (
	"errors"
	"fmt"
	"math"

	"tramd/sweep/leastsq"
)

// Options say what else than one wave is in the readings.
type Options struct {
	Harmonics int // highest multiple of the frequency; 0 or 1 = the wave alone
	Drift     int // highest power of time; 0 = none
}

// maxHarmonics keeps the design within what leastsq solves.
const maxHarmonics = 24

// Wave is a fitted A cos(Omega t) + B sin(Omega t) + C, with what else was asked for.
type Wave struct {
	A, B, C  float64 // A and B by cos and sin of Omega*t, t as it was given
	Omega    float64 // radians a second
	SD       [4]float64
	RSS      float64
	DoF      int
	Steps    int // rounds until it stood still
	Residual []float64
}

// Amplitude of the wave.
func (w Wave) Amplitude() float64 { return math.Hypot(w.A, w.B) }

// RMS about the fit, the unknowns taken off.
func (w Wave) RMS() float64 { return math.Sqrt(w.RSS / float64(w.DoF)) }

// ErrNoWave means that the readings do not settle a frequency.
var ErrNoWave = errors.New("the readings show no wave whose frequency could be found")

const (
	maxSteps = 60
	still    = 1e-12 // relative change of the frequency at which it is found
)

// Fit fits readings x at times t, beginning with the frequency omega0 (radians a second), which must be near: within
// about a quarter of 2 pi over the span of time. SD is the standard deviations of A, B, C and Omega by the scatter of
// the readings taken as independent.
func Fit(t, x []float64, omega0 float64, o Options) (Wave, error) {
	f, err := newFitting(t, x, o)
	if err != nil {
		return Wave{}, err
	}
	if !(omega0 > 0) || math.IsInf(omega0, 0) {
		return Wave{}, fmt.Errorf("frequency %v rad/s to begin with: give one above 0", omega0)
	}
	omega := omega0
	best, err := f.hold(omega)
	if err != nil {
		return Wave{}, err
	}
	for round := 1; round <= maxSteps; round++ {
		step, err := f.step(omega, best.beta)
		if err != nil {
			return Wave{}, err
		}
		// A step that overshoots is halved: the residual must not grow.
		next, ok := f.shorten(omega, step, best)
		if !ok || math.Abs(next.omega-omega) <= still*omega {
			return f.wave(best, omega, round)
		}
		if math.Abs(next.omega-omega0) > omega0/2 {
			return Wave{}, ErrNoWave
		}
		omega, best = next.omega, next
	}
	return Wave{}, ErrNoWave
}

// fitting has its times about their middle: the columns for the frequency and the offset would be nearly the same else.
type fitting struct {
	t, x []float64
	mid  float64
	half float64
	o    Options
}

type held struct {
	omega float64
	beta  []float64 // cos, sin by harmonic, then 1, then drift
	rss   float64
}

func newFitting(t, x []float64, o Options) (*fitting, error) {
	o.Harmonics = min(max(o.Harmonics, 1), maxHarmonics)
	o.Drift = min(max(o.Drift, 0), 4)
	if len(t) != len(x) {
		return nil, fmt.Errorf("%d times for %d readings", len(t), len(x))
	}
	if need := 2*o.Harmonics + o.Drift + 3; len(t) < need {
		return nil, fmt.Errorf("%d readings cannot settle a wave: at least %d are needed", len(t), need)
	}
	lo, hi := math.Inf(1), math.Inf(-1)
	for i := range t {
		if math.IsNaN(t[i]+x[i]) || math.IsInf(t[i], 0) || math.IsInf(x[i], 0) {
			return nil, fmt.Errorf("reading %d: time %v, value %v: not a number", i+1, t[i], x[i])
		}
		lo, hi = min(lo, t[i]), max(hi, t[i])
	}
	if !(hi > lo) {
		return nil, fmt.Errorf("all readings have the same time")
	}
	f := &fitting{x: x, mid: lo + (hi-lo)/2, half: (hi - lo) / 2, o: o, t: make([]float64, len(t))}
	for i := range t {
		f.t[i] = t[i] - f.mid
	}
	return f, nil
}

func (f *fitting) columns() int { return 2*f.o.Harmonics + 1 + f.o.Drift }

// row writes the columns at one time, and gives the slope of the waves there.
func (f *fitting) row(dst []float64, t, omega float64, beta []float64) (slope float64) {
	s1, c1 := math.Sincos(omega * t)
	s, c := 0.0, 1.0
	for k := range f.o.Harmonics {
		s, c = s*c1+c*s1, c*c1-s*s1
		dst[2*k], dst[2*k+1] = c, s
		if beta != nil {
			slope += float64(k+1) * (-beta[2*k]*s + beta[2*k+1]*c)
		}
	}
	at, p := 2*f.o.Harmonics, 1.0
	for j := range f.o.Drift + 1 {
		dst[at+j] = p
		p *= t / f.half
	}
	return slope
}

// hold fits everything but the frequency.
func (f *fitting) hold(omega float64) (held, error) {
	b, err := leastsq.New(f.columns())
	if err != nil {
		return held{}, err
	}
	row := make([]float64, f.columns())
	for i, t := range f.t {
		f.row(row, t, omega, nil)
		b.Add(row, f.x[i])
	}
	s, err := b.Solve()
	if err != nil {
		return held{}, fmt.Errorf("%w: %w", ErrNoWave, err)
	}
	return held{omega, s.Beta, s.RSS}, nil
}

// full solves with the column for the frequency too.
func (f *fitting) full(omega float64, beta []float64) (leastsq.Solution, error) {
	n := f.columns()
	b, err := leastsq.New(n + 1)
	if err != nil {
		return leastsq.Solution{}, err
	}
	row := make([]float64, n+1)
	for i, t := range f.t {
		row[n] = t * f.row(row, t, omega, beta)
		b.Add(row, f.x[i])
	}
	s, err := b.Solve()
	if err != nil {
		err = fmt.Errorf("%w: %w", ErrNoWave, err)
	}
	return s, err
}

func (f *fitting) step(omega float64, beta []float64) (float64, error) {
	s, err := f.full(omega, beta)
	if err != nil {
		return 0, err
	}
	return s.Beta[f.columns()], nil
}

// shorten halves a step until it does not make the fit worse; ok is false when no length does.
func (f *fitting) shorten(omega, step float64, from held) (held, bool) {
	for range 40 {
		if w := omega + step; w > 0 && !math.IsInf(w, 0) {
			if next, err := f.hold(w); err == nil && next.rss <= from.rss*(1+1e-14) {
				return next, true
			}
		}
		step /= 2
	}
	return held{}, false
}

// wave writes what was found about the times as they were given, with the covariance that belongs to it.
func (f *fitting) wave(at held, omega float64, steps int) (Wave, error) {
	s, err := f.full(omega, at.beta)
	if err != nil {
		return Wave{}, err
	}
	n := f.columns()
	dof := len(f.t) - n - 1
	a, b := at.beta[0], at.beta[1]
	sin, cos := math.Sincos(omega * f.mid)
	w := Wave{A: a*cos - b*sin, B: a*sin + b*cos, Omega: omega, RSS: at.rss, DoF: dof, Steps: steps,
		Residual: make([]float64, len(f.t))}
	for j, p := 0, 1.0; j <= f.o.Drift; j++ {
		w.C += at.beta[2*f.o.Harmonics+j] * p
		p *= -f.mid / f.half
	}
	// By the chain rule: the phase at the times as given turns with the frequency times the middle.
	v := at.rss / float64(dof)
	cov := func(i, j int) float64 { return v * s.Cov[i][j] }
	gradA := [3]float64{cos, -sin, -f.mid * w.B}
	gradB := [3]float64{sin, cos, f.mid * w.A}
	index := [3]int{0, 1, n}
	quad := func(g [3]float64) (q float64) {
		for i := range g {
			for j := range g {
				q += g[i] * g[j] * cov(index[i], index[j])
			}
		}
		return math.Sqrt(math.Max(q, 0))
	}
	w.SD = [4]float64{quad(gradA), quad(gradB), math.Sqrt(cov(2*f.o.Harmonics, 2*f.o.Harmonics)), math.Sqrt(cov(n, n))}
	row := make([]float64, n)
	for i, t := range f.t {
		f.row(row, t, omega, nil)
		w.Residual[i] = f.x[i]
		for j, c := range row {
			w.Residual[i] -= c * at.beta[j]
		}
	}
	return w, nil
}

// Search finds a frequency to begin with: of those between low and high (radians a second) the one whose wave leaves
// the least.
func Search(t, x []float64, low, high float64, o Options) (float64, error) {
	f, err := newFitting(t, x, o)
	if err != nil {
		return 0, err
	}
	if !(low > 0) || !(high >= low) || math.IsInf(high, 0) {
		return 0, fmt.Errorf("frequencies from %v to %v rad/s: give a range above 0", low, high)
	}
	n := int(math.Ceil((high-low)*2*f.half/(2*math.Pi)*8)) + 1 // eight for each turn that the span holds more
	if n > 4000 {
		return 0, fmt.Errorf("%d frequencies to look through: give a narrower range", n)
	}
	best, at := math.Inf(1), 0.0
	for i := range n {
		w := low + (high-low)*float64(i)/math.Max(1, float64(n-1))
		if h, err := f.hold(w); err == nil && h.rss < best {
			best, at = h.rss, w
		}
	}
	if at == 0 {
		return 0, ErrNoWave
	}
	return at, nil
}
