package drift

import "math"

// clamping learns what differs from check to check besides u. Where checks are of uneven uncertainty, how unlike the
// good and the poor ones scatter separates it from a u that is stated too small or too large; where they are alike, u
// is taken at its word and the rest is clamping. Tried are some values, each with the scale of its own that suits it
// best.
type clamping struct {
	base   float64 // u squared of the first check
	least  float64 // u squared of the best check, and of the poorest
	most   float64
	n      float64
	unit   [len(clampings)]float64 // clamping + u squared, of the last check
	log    [len(clampings)]float64 // of that
	uu     float64                 // u squared that those are of
	square [len(clampings)]float64 // of the errors of the forecast, in units of clamping + u squared
	logs   [len(clampings)]float64 // of those units
}

// clampings are the values tried, in units of the first check's u squared.
var clampings = [...]float64{0, 0.003, 0.01, 0.03, 0.1, 0.3, 1, 3, 10, 30, 100}

// What is believed of them before anything was seen, as standard deviations of logarithms.
const (
	toldWell  = 0.5 // the scale: how well u is stated
	clampWide = 1.5 // clamping, about what priorTimesU says
	unlike    = 1.2 // u squared of the poorest and the best check, beyond which checks are uneven
)

// uneven reports whether the checks are of uneven uncertainty.
func (c *clamping) uneven() bool { return c.most > unlike*c.least }

// met takes note of a check's u squared.
func (c *clamping) met(uu float64) {
	if uu == 0 { // too small for a figure
		return
	}
	if c.base == 0 {
		c.base, c.least, c.most = uu, uu, uu
	}
	c.least, c.most = min(c.least, uu), max(c.most, uu)
}

// add takes in by how much a check of such a u squared missed, squared and less what the lean's own uncertainty added.
func (c *clamping) add(miss, uu float64) {
	if uu == 0 {
		return
	}
	c.n = c.n*forget + 1
	if uu != c.uu { // an instrument says the same u day after day
		c.uu = uu
		for i, x := range clampings {
			c.unit[i] = x*c.base + uu
			c.log[i] = math.Log(c.unit[i])
		}
	}
	for i, v := range c.unit {
		c.square[i] = c.square[i]*forget + min(miss/v, 1e12)
		c.logs[i] = c.logs[i]*forget + c.log[i]
	}
}

// variance is what clamping adds to u squared, where the mean of that is uu.
func (c *clamping) variance(uu float64) float64 {
	var scores [len(clampings)]float64
	best := math.Inf(-1)
	for i, x := range clampings {
		v := x * c.base
		before := math.Log((v + 0.1*uu) / ((sq(priorTimesU) - 0.9) * uu))
		// A scale that is believed to be one, and a pseudo-check that says so.
		scale := (c.square[i] + 1) / (c.n + 1)
		scores[i] = -0.5 * (c.logs[i] + c.n*math.Log(scale) + sq(math.Log(scale)/toldWell) + sq(before/clampWide))
		best = math.Max(best, scores[i])
	}
	var sum, all float64
	for i, x := range clampings {
		w := math.Exp(scores[i] - best)
		sum += w * x * c.base
		all += w
	}
	return sum / all
}

// missed is by how much the last check, of such a relative variance, missed what was foretold, squared and less what
// the lean's own uncertainty added.
func (b *bank) missed(r float64) float64 {
	sum := 0.0
	for i := range b.h {
		h := &b.h[i]
		sum += h.weight * h.residual * h.residual * r / h.predicted
	}
	return sum
}
