package sweep

import "math"

// Contact follows the readings of one indicator while nothing turns, as when an adjuster is loose, and says how far
// what is shown may be trusted: how fast the reading goes, by how much it lags behind the surface, and how uncertain it
// is. A reading costs it the same however many came before.
type Contact struct {
	delay   float64 // seconds from the moment of measuring to the arrival
	play    float64 // mm: half of what the indicator reads apart by the way its plunger moves; 0: not stated
	step    float64 // of the display, mm
	outside float64 // mm: standard uncertainty of one of two readings that are compared, by what the setup states

	t, z [contactKept]float64
	n    int // kept since the readings last stopped
	next int
	v    float64 // variance of single readings about a smooth course
}

// What a contact goes by.
const (
	contactKept  = 32
	keptApartS   = 0.01 // readings closer together are not kept: 32 of them would not outlast a vibration of the arm
	contactOverS = 0.12 // the rate is that of the readings of so long, or of the last four where they are fewer
	contactGapS  = 1.0  // readings further apart are no course
	scatterOf    = 32   // second differences that the scatter is the mean of
	surelyMoves  = 3.5  // standard uncertainties of the rate
	unstatedPlay = 1.0  // display steps: half the hysteresis where none is stated (common practice, no source)
	playKnown    = 0.2  // relative standard uncertainty of a stated hysteresis (chosen)
)

// NewContact returns a contact of an indicator whose readings arrive delayS seconds after they were measured.
func NewContact(ind Indicator, delayS float64) *Contact {
	c := &Contact{delay: delayS, play: ind.HysteresisMM / 2, step: ind.ResolutionMM}
	c.outside = ind.MPEMM / math.Sqrt(6) // two readings then differ by a rectangular error of the permissible one
	if ind.Calibration != nil {
		c.outside = ind.Calibration.UMM
	}
	return c
}

// Add takes a reading that arrived at t seconds.
func (c *Contact) Add(t, mm float64) {
	last := (c.next + contactKept - 1) % contactKept
	if c.n > 0 && (t-c.t[last] > contactGapS || t < c.t[last]) {
		c.n = 0
	}
	if c.n > 0 && t-c.t[last] < keptApartS {
		return
	}
	if c.n >= 2 {
		before := (last + contactKept - 1) % contactKept
		// What the middle one of three lies off the line through its neighbours has 1 + p² + q² times the variance.
		q := (c.t[last] - c.t[before]) / (t - c.t[before])
		d := c.z[last] - c.z[before] - q*(mm-c.z[before])
		now := d * d / (1 + q*q + (1-q)*(1-q))
		if c.v > 0 {
			now = math.Min(now, 9*c.v+c.step*c.step)
		}
		c.v += (now - c.v) / math.Min(scatterOf, float64(c.n-1))
	}
	c.t[c.next], c.z[c.next] = t, mm
	c.next = (c.next + 1) % contactKept
	c.n = min(c.n+1, contactKept)
}

// Standing is how a contact stands at one moment.
type Standing struct {
	RateMMPerS float64 // of the reading; 0 where it stands, as far as the readings show
	LagMM      float64 // the surface is at the reading plus this: what came since it was measured, and the plunger's play
	LagUMM     float64 // standard uncertainty of LagMM
	UMM        float64 // standard uncertainty of the reading plus LagMM, as one of two that are compared
}

// At returns how the contact stands at t seconds, by its readings so far. ok is false where there are none.
func (c *Contact) At(t float64) (s Standing, ok bool) {
	if c.n == 0 {
		return s, false
	}
	last := c.t[(c.next+contactKept-1)%contactKept]
	rate, u := c.rate(last)
	late := math.Max(0, t-last) + c.delay
	lag := sq(u * late)
	if math.Abs(rate) > surelyMoves*u {
		// A hand may have stopped, or gone on faster, since the readings that the rate is of. The plunger leans on one
		// end of its play.
		s.RateMMPerS, s.LagMM = rate, rate*late+math.Copysign(c.play, rate)
		lag += sq(rate)*(sq(late)+sq(contactOverS/4))/3 + sq(playKnown*c.play)
	} else {
		lag += sq(c.play) // it stands at one end of its play or the other, by the way it came last
	}
	if c.play == 0 {
		lag += sq(unstatedPlay*c.step) / 3
	}
	s.LagUMM, s.UMM = math.Sqrt(lag), math.Sqrt(lag+c.v+sq(c.step)/12+sq(c.outside))
	return s, true
}

// rate is the slope of the newest readings over time, and its standard uncertainty.
func (c *Contact) rate(last float64) (rate, u float64) {
	var n, mt, mz, tt, tz float64
	for i := range c.n {
		k := (c.next + 2*contactKept - 1 - i) % contactKept
		if n >= 4 && last-c.t[k] > contactOverS {
			break
		}
		n++
		dt, dz := c.t[k]-mt, c.z[k]-mz
		mt, mz = mt+dt/n, mz+dz/n
		tt += dt * (c.t[k] - mt)
		tz += dt * (c.z[k] - mz)
	}
	if n < 3 || tt <= 0 {
		return 0, 0
	}
	return tz / tt, math.Sqrt((c.v + c.step*c.step/12) / tt)
}
