package sweep

import (
	"fmt"
	"math"
)

// indexMarks is what the encoder's index mark, once a turn of the encoder, has shown.
type indexMarks struct {
	seen  bool
	pos   int64   // raw units, unwrapped, at a mark: every other lies whole turns from it
	good  float64 // when a mark last bore the count out
	jumpT float64 // when the count was last good before it jumped
	lone  bool    // a mark came without a count of its own, at loneT
	loneT float64
	slips []Slip
}

// Slip is a loss of counts that came to light afterwards: readings from FromS to ToS may have been given a wrong angle.
type Slip struct {
	FromS, ToS float64
	Deg        float64 // of the spindle, by which the count was off at ToS
	ByPace     bool    // seen by the arm's pace before and after, and the angle is not known from ToS on; else by the index mark, which has set it right
}

// Doubt puts the slip as what is to be kept with the run.
func (s Slip) Doubt() Doubt {
	if s.ByPace {
		return Doubt{Code: DoubtMissedCounts, FromS: s.FromS, ToS: s.ToS, Text: fmt.Sprintf(
			"the encoder's count went %.2f degrees further, from one sample to the next, than the arm did before and after: it lost counts or started over; check its coupling, cable and supply", s.Deg)}
	}
	return Doubt{Code: DoubtMissedCounts, FromS: s.FromS, ToS: s.ToS, Text: fmt.Sprintf(
		"the encoder's count was off by %.2f degrees at its index mark: readings since the mark before have no certain angle; check its coupling, cable and supply", s.Deg)}
}

// astray takes the count as lost since a moment some samples ago.
func (e *Encoder) astray(from, by float64) {
	e.jumps++
	for i := e.n - 1; i >= max(0, e.n-pastFixes) &&
		e.past[i%pastFixes].t > from; i-- { // a late reading may still ask for them
		f := &e.past[i%pastFixes]
		f.known, f.certain = false, false
	}
	e.mark.slips = append(e.mark.slips, Slip{FromS: from, ToS: e.last().t, Deg: Degrees(by), ByPace: true})
	e.placed, e.mark.jumpT = false, from
}

// AddIndex takes an index mark that came at t without a count of its own. Where the arm was then is worked out when the
// encoder next speaks.
func (e *Encoder) AddIndex(t float64) {
	if e.have && t >= e.last().t {
		e.mark.lone, e.mark.loneT = true, t
	}
}

// Slip returns the oldest slip that was not asked for yet.
func (e *Encoder) Slip() (s Slip, ok bool) {
	if len(e.mark.slips) == 0 {
		return s, false
	}
	s = e.mark.slips[0]
	e.mark.slips = e.mark.slips[:copy(e.mark.slips, e.mark.slips[1:])]
	return s, true
}

// indexPos returns the raw place of the index mark that was passed on the way from a sample at fromT to x, if one was.
func (e *Encoder) indexPos(x sample, fromT float64, from int64) (pos int64, ok bool) {
	lone := e.mark.lone
	e.mark.lone = false
	switch {
	case x.index:
		return e.pos, true
	case lone && e.mark.loneT >= fromT && x.t > fromT && x.t-fromT <= e.o.MaxGapS:
		return from + int64(math.Round(float64(e.pos-from)*(e.mark.loneT-fromT)/(x.t-fromT))), true
	}
	return 0, false
}

// atIndex holds the count against the mark. step is how many raw units the arm made to the marked sample, within which
// the mark itself lies; b is that sample's fix.
func (e *Encoder) atIndex(pos, step int64, b *fix) {
	m := &e.mark
	if !m.seen {
		m.seen, m.pos, m.good = true, pos, b.t
		if e.o.IndexDeg != nil {
			e.origin += Radians(*e.o.IndexDeg) - e.angleAt(pos)
			e.placed = true
			b.angle, b.known, b.certain = e.angleAt(e.pos), true, false
		}
		return
	}
	off := nearest(pos-m.pos, e.modulus)
	if !e.placed { // the count jumped, but the mark is where it always was
		m.slips = append(m.slips, Slip{FromS: m.jumpT, ToS: b.t, Deg: Degrees(float64(off) * e.unit)})
		e.origin -= float64(off) * e.unit
		e.placed, m.pos, m.good = true, pos, b.t
		b.angle, b.known, b.certain = e.angleAt(e.pos), true, false
		return
	}
	if math.Abs(float64(off)) <= e.indexLimit(step) {
		m.good = b.t
		return
	}
	for i := e.n - 1; i >= max(0, e.n-pastFixes) &&
		e.past[i%pastFixes].t > m.good; i-- { // a late reading may still ask for them
		f := &e.past[i%pastFixes]
		f.known, f.certain = false, false
	}
	m.slips = append(m.slips, Slip{FromS: m.good, ToS: b.t, Deg: Degrees(float64(off) * e.unit)})
	e.origin -= float64(off) * e.unit
	m.pos, m.good = pos, b.t
	b.angle, b.certain = e.angleAt(e.pos), false
}

// indexLimit is how many raw units a mark may lie off.
func (e *Encoder) indexLimit(step int64) float64 {
	perDeg := float64(e.modulus) / 360
	if t := e.o.IndexToleranceDeg; t > 0 {
		return t * perDeg
	}
	base := 0.1 * perDeg
	if e.modulus == e.o.CountsPerTurn {
		base = math.Max(base, 2)
	}
	return base + math.Abs(float64(step))
}
