package mixed

import "math"

// Noise correlated exponentially is strongest at frequency 0. That of an arm that rings, a hand that trembles or a
// floor that shakes is not: it swings to and fro within a band of frequencies and comes to nothing over a turn, so it
// holds next to none of what turns slowly, as the lean does. Taken for exponential noise it would make the interval
// several times too wide. Where the readings speak for such a band far more than for any other noise, it gets a part of
// its own.

// band is noise within a band of frequencies: the velocity of a damped oscillator driven by white noise (Uhlenbeck and
// Ornstein 1930, On the theory of the Brownian motion, Physical Review 36:823-841, for a bound particle; from memory).
// Its covariance over a time t is variance * exp(-a t) (cos w t - a/w sin w t), which sums to nothing, with a = w0/(2
// quality) and w² = w0² - a².
type band struct {
	variance float64 // relative to the white; 0 where there is none
	hertz    float64 // of its middle, w0/(2 pi)
	quality  float64 // the middle over the width
}

// swing says how the two states of a band go on: its value, and the oscillator's place scaled to the same variance.
type swing [4]float64

// over is the exact solution after dt seconds.
func (b band) over(dt float64) swing {
	w0 := 2 * math.Pi * b.hertz
	a := w0 / (2 * b.quality)
	w := math.Sqrt(w0*w0 - a*a)
	s, c := math.Sincos(w * dt)
	fade := math.Exp(-a * dt)
	s, c = fade*s, fade*c
	return swing{c - a/w*s, -w0 / w * s, w0 / w * s, c + a/w*s}
}

func (f swing) turn(value, place float64) (float64, float64) {
	return f[0]*value + f[1]*place, f[2]*value + f[3]*place
}
