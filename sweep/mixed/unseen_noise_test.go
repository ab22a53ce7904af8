package mixed

import (
	"math"
	"math/rand/v2"
)

// The second generator shares nothing with the first but its result: other spectra, other surfaces, other hands. It is
// what keeps the model from being fitted to its own simulator.

// series is a disturbance of the reading at ever later times, in mm.
type series func(t float64) float64

// hush is no disturbance.
func hush(float64) float64 { return 0 }

// flicker is 1/f noise of the given standard deviation: waves of equal power an octave, from one in slowest seconds up
// to some 8 Hz.
func flicker(r *rand.Rand, sd, slowest float64) series {
	type wave struct{ w, phase, size float64 }
	var waves []wave
	for f := 1 / slowest; f < 8; f *= math.Pow(2, 0.1+0.3*r.Float64()) {
		waves = append(waves, wave{2 * math.Pi * f, 2 * math.Pi * r.Float64(), math.Sqrt(r.ExpFloat64())})
	}
	unit := sd * math.Sqrt(2/float64(len(waves)))
	return func(t float64) (z float64) {
		for _, w := range waves {
			z += unit * w.size * math.Cos(w.w*t+w.phase)
		}
		return z
	}
}

// wander is a random walk that comes to sd over the given time, in steps with heavy tails a quarter of a second apart.
func wander(r *rand.Rand, sd, over float64) series {
	const step = 0.25
	at, z, next := 0.0, 0.0, 0.0
	draw := func() float64 { // Laplace
		return sd * math.Sqrt(step/over/2) * math.Copysign(r.ExpFloat64(), r.Float64()-0.5)
	}
	next = draw()
	return func(t float64) float64 {
		for t >= at+step {
			z, at = z+next, at+step
			next = draw()
		}
		return z + next*(t-at)/step
	}
}

// tremor is the second-order resonance of a hand on a long arm, excited by white noise: an AR(2) process at 100 Hz.
func tremor(r *rand.Rand, sd, hertz, damping float64) series {
	const step = 0.01
	rho := math.Exp(-damping * 2 * math.Pi * hertz * step)
	a, b := 2*rho*math.Cos(2*math.Pi*hertz*step), -rho*rho
	// Yule-Walker: variance of the process for unit innovations.
	size := sd / math.Sqrt((1-b)/((1+b)*((1-b)*(1-b)-a*a)))
	var z, was, at float64
	for range 400 {
		z, was = a*z+b*was+size*r.NormFloat64(), z
	}
	return func(t float64) float64 {
		for ; at+step <= t; at += step {
			z, was = a*z+b*was+size*r.NormFloat64(), z
		}
		return z
	}
}

// hum is one steady wave, as of a compressor or a passing crane.
func hum(r *rand.Rand, sd, hertz float64) series {
	phase := 2 * math.Pi * r.Float64()
	return func(t float64) float64 { return sd * math.Sqrt2 * math.Cos(2*math.Pi*hertz*t+phase) }
}

// warmUp settles exponentially by size.
func warmUp(size, tau float64) series {
	return func(t float64) float64 { return size * (1 - math.Exp(-t/tau)) }
}

func both(parts ...series) series {
	return func(t float64) (z float64) {
		for _, p := range parts {
			z += p(t)
		}
		return z
	}
}
