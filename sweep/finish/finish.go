package finish

import (
	"fmt"
	"math"

	"tramd/sweep"
	"tramd/sweep/units"
)

// Cutter is a tool and how far apart its passes lie.
type Cutter struct {
	Name       string
	DiameterMM float64
	StepoverMM float64
	LimitMM    float64 // the highest mark that will do; 0: not said
}

// Validate says what is wrong with a cutter.
func (c Cutter) Validate() error {
	switch {
	case !(c.DiameterMM > 0 && c.DiameterMM <= 1000):
		return fmt.Errorf("cutter %s: diameter %v mm; write a number above 0, at most 1000", c.Name, c.DiameterMM)
	case !(c.StepoverMM > 0 && c.StepoverMM <= c.DiameterMM):
		return fmt.Errorf("cutter %s: stepover %v mm; write a number above 0, at most the diameter of %v mm", c.Name,
			c.StepoverMM, c.DiameterMM)
	case !(c.LimitMM >= 0 && c.LimitMM <= 100):
		return fmt.Errorf("cutter %s: limit %v mm; write 0 for none, or a number of mm up to 100", c.Name, c.LimitMM)
	}
	return nil
}

// Mark is what one feed direction leaves, in millimetres.
type Mark struct {
	StepMM   float64 `json:"step_mm"`   // between neighbouring passes, from the lean across the feed alone
	HollowMM float64 `json:"hollow_mm"` // over a width of one stepover, from the lean along the feed alone
	SlotMM   float64 `json:"slot_mm"`   // hollow of a single full-width cut
	HeightMM float64 `json:"height_mm"` // from the lowest to the highest of the surface that many passes leave, by both
}

// Along returns the mark of a cutter fed along the direction that leans by along, with the lean across it.
func Along(c Cutter, along, across units.Slope) Mark {
	r, e := c.DiameterMM/2, c.StepoverMM
	a, s := math.Abs(float64(along)), math.Abs(float64(across))
	return Mark{
		StepMM:   e * s,
		HollowMM: Hollow(c.DiameterMM, e, along),
		SlotMM:   r * a,
		HeightMM: crest(r, e, a, s) + r*math.Hypot(a, s),
	}
}

// Hollow is the depth of the hollow over a cut of width w, the lean lying along the feed.
func Hollow(diameterMM, widthMM float64, along units.Slope) float64 {
	part := math.Min(1, widthMM/diameterMM)
	return diameterMM / 2 * math.Abs(float64(along)) * (1 - math.Sqrt(1-part*part))
}

// crest is the highest point left between passes e apart: where the profile of a pass meets that of the next, or, where
// the one lies below the other throughout, the height at which the other takes over.
func crest(r, e, a, s float64) float64 {
	p := func(y float64) float64 { return -s*y - a*math.Sqrt(math.Max(0, r*r-y*y)) }
	// Between the overlap's ends p(y) - p(y-e) grows, since p is convex; at its lower end it is not positive.
	lo, hi := e-r, r
	if p(hi) <= p(hi-e) {
		return p(hi - e)
	}
	for range 60 {
		mid := (lo + hi) / 2
		if p(mid) < p(mid-e) {
			lo = mid
		} else {
			hi = mid
		}
	}
	return p((lo + hi) / 2)
}

// Report is what a measured lean means for one cutter.
type Report struct {
	Cutter     string  `json:"cutter"`
	DiameterMM float64 `json:"diameter_mm"`
	StepoverMM float64 `json:"stepover_mm"`
	FeedX      Mark    `json:"feed_x"`
	FeedY      Mark    `json:"feed_y"`
	// HeightMM is the worse of both feeds; HighestMM and LowestMM what it can be within the 95 % intervals of the lean.
	HeightMM  float64       `json:"height_mm"`
	LowestMM  float64       `json:"lowest_mm"`
	HighestMM float64       `json:"highest_mm"`
	LimitMM   float64       `json:"limit_mm,omitempty"`
	Verdict   sweep.Verdict `json:"verdict"` // on the limit
	Say       string        `json:"say"`
}

// Weigh says what a measured lean means for a cutter. A nil axis was not measured; then there is no report.
func Weigh(c Cutter, tilt, nod *sweep.Axis) (Report, bool) {
	if tilt == nil || nod == nil || c.Validate() != nil {
		return Report{}, false
	}
	r := Report{Cutter: c.Name, DiameterMM: c.DiameterMM, StepoverMM: c.StepoverMM, LimitMM: c.LimitMM,
		Verdict: sweep.None,
		FeedX:   Along(c, tilt.Slope, nod.Slope), FeedY: Along(c, nod.Slope, tilt.Slope)}
	worse := func(x, y units.Slope) float64 { return math.Max(Along(c, x, y).HeightMM, Along(c, y, x).HeightMM) }
	near := func(a *sweep.Axis) units.Slope { return max(0, units.Slope(math.Abs(float64(a.Slope)))-a.Expanded) }
	far := func(a *sweep.Axis) units.Slope { return units.Slope(math.Abs(float64(a.Slope))) + a.Expanded }
	r.HeightMM = worse(tilt.Slope, nod.Slope)
	r.LowestMM, r.HighestMM = worse(near(tilt), near(nod)), worse(far(tilt), far(nod))
	r.Say = fmt.Sprintf("%s, %g mm wide at %g mm between passes: marks of %s mm, at most %s", c.Name, c.DiameterMM,
		c.StepoverMM, micro(r.HeightMM), micro(r.HighestMM))
	if c.LimitMM == 0 {
		r.Say += "."
		return r, true
	}
	switch {
	case r.HighestMM <= c.LimitMM:
		r.Verdict = sweep.Within
		r.Say += fmt.Sprintf("; good enough for its limit of %g mm.", c.LimitMM)
	case r.LowestMM > c.LimitMM:
		r.Verdict = sweep.Outside
		r.Say += fmt.Sprintf("; not good enough for its limit of %g mm.", c.LimitMM)
	default:
		r.Verdict = sweep.Undecided
		r.Say += fmt.Sprintf("; its limit of %g mm lies between, so sweep again with more turns to know.", c.LimitMM)
	}
	return r, true
}

// micro writes a length to a tenth of a micrometre.
func micro(mm float64) string { return fmt.Sprintf("%.4f", mm) }
