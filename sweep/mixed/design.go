package mixed

import (
	"math"

	"tramd/sweep"
)

const (
	formOrders = 10 // harmonics 2 to formOrders+1 of the surface
	drifts     = 4  // Legendre polynomials of the sweep's time
)

// driftFall is the standard deviation of each drift polynomial relative to the first.
var driftFall = [drifts]float64{1, 0.25, 0.06, 0.015}

// design is the model's columns by block, in the order: form, drift, directions, offsets, lean, reading. The lean comes
// last before the reading so that its covariance is the corner of a Cholesky factor.
type design struct {
	rows               [][]float64
	orders             []int // of the form columns
	form, drift, extra int   // columns of each kind: form first, then drift, then the direction effects
	groups, lean       int
	cols               int
	zero               float64 // taken off the readings
	step               float64 // of the display, mm
	t0, half           float64 // the time of the drift polynomials: middle and half length
	noise2             float64 // guess at the white noise's variance, to put priors in mm and seconds to scale
	parts              []part
	circles            []int     // by track: which circle on the surface it runs on
	pair               *pair     // of two indicators: their blocks as sums and differences; nil where there are not two
	moved              direction // by lag and delay of this the angles have been moved
}

// newDesign writes the columns. axes says which of tilt and nod are in the model; way, if not nil, adds the effects
// of direction along the curve.
func newDesign(in *input, bs []block, groups int, axes [2]bool, way *direction, along curve, parts []part) *design {
	d := &design{groups: groups, step: in.step()}
	circles := d.circlesOf(in)
	d.form, d.drift = circles*2*formOrders, drifts+partColumns*len(in.tracks)*len(parts)
	d.parts = parts
	for i := range d.form {
		d.orders = append(d.orders, i/2%formOrders+2)
	}
	if way != nil {
		d.extra = byCount
	}
	for _, on := range axes {
		if on {
			d.lean++
		}
	}
	d.cols = d.form + d.drift + d.extra + d.groups + d.lean + 1
	for _, b := range bs {
		d.zero += b.z / float64(len(bs))
	}
	d.t0, d.half = timeSpan(bs)
	d.write(in, bs, axes, way, along)
	if len(in.tracks) == 2 {
		d.pair = newPair(bs, d.rows)
	}
	return d
}

// write writes the rows of blocks.
func (d *design) write(in *input, bs []block, axes [2]bool, way *direction, along curve) {
	d.rows = make([][]float64, 0, len(bs))
	backing := make([]float64, d.cols*len(bs))
	for i := range bs {
		b := &bs[i]
		x := backing[i*d.cols : (i+1)*d.cols]
		d.rows = append(d.rows, x)
		sin, cos := math.Sincos(b.th)
		ck, sk := cos, sin
		for k := 0; k < formOrders; k++ {
			ck, sk = ck*cos-sk*sin, sk*cos+ck*sin
			f := blur(float64(k+2) * b.span / 2)
			at := (d.circles[b.track]*formOrders + k) * 2
			x[at], x[at+1] = f*ck, f*sk
		}
		u := (b.t - d.t0) / d.half
		for j, v := range legendre(u) {
			x[d.form+j] = v
		}
		x[d.form+d.drift+d.extra+b.group] = 1
		at := d.cols - 1 - d.lean
		f := in.tracks[b.track].scale * blur(b.span/2)
		if axes[0] {
			x[at] = f * cos
			at++
		}
		if axes[1] {
			x[at] = f * sin
		}
		x[d.cols-1] = b.z - d.zero
	}
	d.writeParts(bs, d.parts)
	if way != nil {
		way.write(d, bs, along)
	}
}

// legendre returns the drift polynomials at u in -1..1.
func legendre(u float64) [drifts]float64 {
	u2 := u * u
	return [drifts]float64{u, (3*u2 - 1) / 2, u * (5*u2 - 3) / 2, (35*u2*u2 - 30*u2 + 3) / 8}
}

// circlesOf puts tracks whose radii agree within 4 % on one circle of the surface: they see the same form.
func (d *design) circlesOf(in *input) int {
	var radii []float64
	for _, tr := range in.tracks {
		r := in.setup.Indicators[tr.indicator].RadiusMM
		at := -1
		for j, q := range radii {
			if math.Abs(r-q) < 0.04*q {
				at = j
			}
		}
		if at < 0 {
			at = len(radii)
			radii = append(radii, r)
		}
		d.circles = append(d.circles, at)
	}
	return len(radii)
}

// blur is what the mean over an arc of half width h leaves of a wave of one radian.
func blur(h float64) float64 {
	if h < 1e-4 {
		return 1
	}
	return math.Sin(h) / h
}

func timeSpan(bs []block) (mid, half float64) {
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, b := range bs {
		lo, hi = math.Min(lo, b.t), math.Max(hi, b.t)
	}
	return (lo + hi) / 2, math.Max((hi-lo)/2, 1e-9)
}

// formVariance is the variance of harmonic k relative to the second, for surfaces whose waves fall off as k^-fall.
func formVariance(order int, fall float64) float64 {
	return math.Pow(float64(order)/2, -2*fall)
}

// formAt is the surface's form on one circle from the model's coefficients.
func (d *design) formAt(circle int, coef []float64, th float64) float64 {
	var z float64
	for k := 0; k < formOrders; k++ {
		s, c := math.Sincos(float64(k+2) * th)
		at := (circle*formOrders + k) * 2
		z += coef[at]*c + coef[at+1]*s
	}
	return z
}

func harmonics(coef []float64) []sweep.Harmonic {
	var out []sweep.Harmonic
	for k := 0; k < formOrders; k++ {
		out = append(out, harmonic(k+2, coef[2*k], coef[2*k+1]))
	}
	return out
}

func harmonic(order int, c, s float64) sweep.Harmonic {
	return sweep.Harmonic{Order: order, AmplitudeMM: math.Hypot(c, s),
		PhaseDeg: sweep.Degrees(sweep.Wrap(math.Atan2(s, c))) / float64(order)}
}
