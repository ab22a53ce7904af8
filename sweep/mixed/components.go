package mixed

import (
	"math"

	"tramd/sweep"
	"tramd/sweep/uncertainty"
)

const (
	tagJitter  = 0.001            // seconds between the angle and the reading it is put to
	playShape  = 0.08             // share of the play by which its shape may differ from the model's (from simulation)
	moveShape  = 0.024            // the same of a plain step by the way the plunger moves (from simulation)
	unseenPlay = lostMotionSD / 2 // display steps: what lost motion not seen yet may do to an axis (by the live study)
	nothing    = 1e-6             // share of a reading's rounding below which a budget need not show a power of ten
	crossways  = 0.35             // share of the rounding's error that may stand across the lean (from simulation)
)

// typeB lists what makes up the uncertainty of one axis, in mm/m, beside what the readings show.
func (f *fitting) typeB(axis int, lean [2]float64) (b uncertainty.Budget) {
	perMM := 1000 / f.in.radius
	known := math.Inf(1)
	own, other := lean[axis], lean[1-axis]
	turned := other // tilt turns into nod, nod into less tilt
	if axis == 0 {
		turned = -other
	}
	b = append(b, uncertainty.Component{
		Name: "resolution", Type: uncertainty.B, U: f.in.resolution / math.Sqrt(12), Unit: "mm",
		Sensitivity: perMM * f.rounding() * f.alongLean(own, other), DoF: known,
		Note: "rectangular over one step, less what the noise of the readings averages out",
	})
	b = append(b, uncertainty.Component{
		Name: "angle", Type: uncertainty.B, U: math.Hypot(f.angleU(), f.zeroU()), Unit: "deg",
		Sensitivity: sweep.Radians(1) * turned, DoF: known,
		Note: "turns part of one axis into the other",
	})
	if f.repeat > 0 {
		b = append(b, uncertainty.Component{
			Name: "angle repeat", Type: uncertainty.B, U: sweep.Degrees(f.repeat) / math.Sqrt(3), Unit: "deg",
			Sensitivity: sweep.Radians(1) * turned, DoF: known,
			Note: "rectangular, by as much as one turn lies turned against another",
		})
	}
	if f.even != nil {
		b = append(b, uncertainty.Component{
			Name: "weighting", Type: uncertainty.B, U: f.even.part(f.place(axis)), Unit: "mm", Sensitivity: perMM,
			DoF:  known,
			Note: "half the way to what the noise model alone would say: the two differ by more than the noise explains",
		})
	}
	b = append(b, f.indicatorParts(own, perMM)...)
	if f.both {
		b = append(b, uncertainty.Component{
			Name: "play", Type: uncertainty.B, U: playShape*f.way.playMM + moveShape*math.Abs(f.way.moveMM), Unit: "mm",
			Sensitivity: perMM, DoF: known,
			Note: "a plunger's play is not as sharp as the model takes it",
		})
		if u := unseenPlay * f.in.step() * f.wayBackAhead(); u > 0 {
			b = append(b, uncertainty.Component{
				Name: "way back", Type: uncertainty.B, U: u, Unit: "mm", Sensitivity: perMM, DoF: known,
				Note: "what the way the plunger moves does to the lean shows when the arm has gone back",
			})
		}
	}
	return b
}

// zeroU returns the standard uncertainty, in degrees, of where 0 degrees is.
func (f *fitting) zeroU() float64 {
	if z := f.in.setup.Zero; z != nil {
		return z.UDeg
	}
	return 0
}

// rounding is what share of the standard uncertainty of one rounded reading, q/sqrt(12), is left in the lean, both in
// mm.
//
// Rounded readings of a wave A cos(angle) with noise s are wrong, in that wave, by q/pi * 2 J1(2 pi A/q) * exp(-2 (pi
// s/q)^2) times the cosine of where the wave sits between two steps (first term of the Fourier series of the rounding
// error); however many readings there are. Separate stations round independently.
func (f *fitting) rounding() float64 {
	q := f.in.resolution
	if q == 0 {
		return 0
	}
	if len(f.bs) < denseSegments {
		return math.Sqrt(2 / float64(len(f.bs)))
	}
	dither := f.rms*f.rms - q*q/9 // the readings' scatter holds their rounding too
	for _, c := range f.coef[:2*formOrders] {
		dither += c * c / 2
	}
	if !(dither > 0) {
		dither = 0
	}
	var amp float64
	for _, v := range f.ans.lean[:f.d.lean] {
		amp = math.Hypot(amp, v)
	}
	x := 2 * math.Pi * math.Max(amp/q, 0.25) // a smaller wave may hide between two steps
	bessel := 0.8 / math.Sqrt(2*x)           // root mean square of J1 over its waves
	left := 1.0
	if f.steps.variance > 0 {
		left = stepsLeft
	}
	share := left * math.Sqrt(12) / math.Pi * math.Sqrt2 * bessel * math.Exp(-2*math.Pi*math.Pi*dither/(q*q))
	if share < nothing {
		return 0
	}
	return share
}

// alongLean is one axis's share of what stands along the lean: rounded readings of a wave are wrong by more or less of
// that same wave. Separate stations round each way alike.
func (f *fitting) alongLean(own, other float64) float64 {
	amp := math.Hypot(own, other)
	if len(f.bs) < denseSegments || amp == 0 {
		return 1
	}
	return math.Max(math.Abs(own)/amp, crossways)
}

// angleU is the standard uncertainty in degrees by which the angles as a whole may be turned.
func (f *fitting) angleU() float64 {
	if f.turning != nil {
		return math.Hypot(taggedAngle, sweep.Degrees(f.turning.AngleU))
	}
	if f.stationLike() {
		return math.Hypot(taggedAngle, stationAngle/math.Sqrt(float64(len(f.bs))))
	}
	rate := meanRate(f.bs)
	if f.both {
		rate = 0 // the two ways round show the delay
	}
	return math.Hypot(taggedAngle, sweep.Degrees(rate)*tagJitter)
}

func (f *fitting) stationLike() bool {
	return f.in.setup.AngleSource == "stations" || len(f.bs) < denseSegments && f.in.setup.AngleSource != "encoder"
}

// place is where an axis stands among the columns of the lean.
func (f *fitting) place(axis int) int {
	if f.d.lean == 1 {
		return 0
	}
	return axis
}

// typeA splits by its origin what is left of an axis's standard uncertainty u, in mm/m, beside the known parts. Each
// part is given its share of the degrees of freedom, so that Welch-Satterthwaite returns those of the whole.
func (f *fitting) typeA(axis int, u, dof, known float64) uncertainty.Budget {
	at, perMM := f.place(axis), 1000/f.in.radius
	total := math.Max(u*u-known*known, 1e-12*u*u)
	if u == 0 {
		dof = math.Inf(1)
	} else {
		dof *= sq(total / (u * u))
	}
	p := &f.ans.best
	leak := f.leak(at)
	pr := f.d.precision(f.levels(), p.h)
	var form, drift float64
	for i, s := range leak {
		v := p.s2 * s * s / pr[i]
		if i < f.d.form {
			form += v
		} else if i < f.d.form+drifts {
			drift += v
		}
	}
	// The answer is averaged over many grid points; the best one only tells in what proportion.
	form, drift = math.Min(form/p.cov[2*at], 0.98), math.Min(drift/p.cov[2*at], 0.98)
	if s := form + drift; s > 0.99 {
		form, drift = 0.99*form/s, 0.99*drift/s
	}
	part := func(name, note string, share float64) uncertainty.Component {
		return uncertainty.Component{
			Name: name, Type: uncertainty.A, U: math.Sqrt(share*total) / perMM, Unit: "mm", Sensitivity: perMM,
			DoF: math.Max(dof*share, 1e-9), Note: note,
		}
	}
	b := uncertainty.Budget{part("repeatability", "scatter and slow noise of the readings about the fit", 1-form-drift)}
	if form > 0 {
		b = append(b, part("form", "harmonics of the surface that the angles cannot tell from lean", form))
	}
	if drift > 0 {
		b = append(b, part("warming", "slow drift during the sweep; the closure is what it comes to over the whole",
			drift))
	}
	return b
}

// leak is how much of each form and drift column shows as lean: the estimate is linear in the readings, so it is the
// lean estimated from that column alone.
func (f *fitting) leak(at int) []float64 {
	d, p := f.d, &f.ans.best
	last := d.cols - 1
	unit := make([]float64, last)
	unit[last-d.lean+at] = 1
	// Row of the inverse that belongs to the lean.
	p.factor.solve(unit)
	pr := d.precision(f.levels(), p.h)
	out := make([]float64, d.form+d.drift)
	for j := range out {
		// The normal equations less the prior's precision, times a unit in column j, are (C - D⁻¹) e_j, and C⁻¹ C e_j =
		// e_j, whose lean part is zero.
		out[j] = -unit[j] * pr[j]
	}
	return out
}
