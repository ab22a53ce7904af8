package session

import (
	"fmt"
	"math"
	"time"

	"tramd/cmd/tramd/internal/api"
	"tramd/sweep"
)

// Leg is the way of an axis from one place to another, while readings are taken.
type Leg struct {
	Place        // what its readings have in common; Do brings the indicator to its beginning
	FromMM, ToMM float64
	Follows      bool // it starts at the end of the leg before, like a way back: there is nothing to set
}

// along tells where a moving axis stands.
type along interface {
	read(t, mm float64)              // takes a reading; it comes back to course.add once its position is known
	begin(leg Leg) error             // takes a person's word that the axis is where a leg begins
	end(leg Leg) error               // and that it is where the leg ends
	leave()                          // gives up a leg under way: what waits for its position is kept as it can be
	endsByItself() bool              // whether where the axis stands says that a leg has ended
	where() (mm float64, known bool) // where it stands now
	sayBegin(leg Leg) string         // what a person is to do for the two
	sayEnd(leg Leg, mm float64, known bool) string
}

// course is a measurement whose readings are taken while an axis moves, leg by leg, each with its position.
type course struct {
	along
	legs   []Leg
	places []Place // of the legs
	states []sweep.StationState
	at     int    // the leg in hand; len(legs): none is left
	under  bool   // it is under way: readings count
	why    string // why a leg must be begun again; empty: it need not

	mm        float64   // where the axis was when it last moved
	movedAt   time.Time // when that was
	stretches []stretch
	bins      [][]bin // of each leg, for what is shown while it goes on
}

// stretch is points of one leg, from number first to the next stretch.
type stretch struct {
	leg, first int
	fromS, toS float64 // times of its points
	void       bool    // they count no longer
}

// bin is the readings of a short piece of a leg.
type bin struct{ n, mm, reading, t float64 }

const (
	legBins  = 120   // pieces of a leg: enough for a curve on a phone
	stirMM   = 0.05  // an axis that moved this far is being moved
	nearMM   = 0.5   // a hand that rests this close to the end of a leg has come there,
	nearPart = 0.005 // or this close by its length
	awayMM   = 2.0   // and one further from its beginning has not been set there,
	awayPart = 0.02  // or by its length
)

func (l Leg) length() float64 { return math.Abs(l.ToMM - l.FromMM) }

// done is how much of a leg lies behind a position, from 0 to 1 and beyond.
func (l Leg) done(mm float64) float64 { return (mm - l.FromMM) / (l.ToMM - l.FromMM) }

func (l Leg) near() float64 { return math.Max(nearMM, nearPart*l.length()) }

func newCourse(legs []Leg, a along) *course {
	c := &course{along: a, legs: legs, states: make([]sweep.StationState, len(legs)), bins: make([][]bin, len(legs))}
	for i := range legs {
		c.places = append(c.places, legs[i].Place)
		c.bins[i] = make([]bin, legBins)
	}
	return c
}

// reading takes a reading; add takes it again once its position is known.
func (c *course) reading(_ *Session, _ *job, _ int, t, mm float64) {
	if c.under {
		c.read(t, mm)
	}
}

func (*course) streams() bool { return true }

// tick ends a leg whose hand rests at its end.
func (c *course) tick(s *Session, j *job, now time.Time) bool {
	if !c.under || now.Sub(c.movedAt) < restTime || !c.atEnd() {
		return false
	}
	c.ended(s, j)
	return true
}

// close gives up the leg under way.
func (c *course) close() {
	if c.under {
		c.leave()
	}
}

func (c *course) left() bool { return c.at < len(c.legs) }

// taken says how many legs have been taken.
func (c *course) taken() (n int) {
	for _, st := range c.states {
		if st == sweep.StationTaken {
			n++
		}
	}
	return n
}

// turned is how much of the whole lies behind.
func (c *course) turned(*job) float64 {
	n := float64(c.taken())
	if mm, known := c.where(); c.under && known {
		n += math.Min(1, math.Max(0, c.legs[c.at].done(mm)))
	}
	return n / float64(len(c.legs))
}

// start has the leg in hand be under way.
func (c *course) start(j *job, now time.Time) {
	c.under, c.why = true, ""
	c.movedAt, c.mm = now, c.legs[c.at].FromMM
	c.stretches = append(c.stretches, stretch{leg: c.at, first: j.points.n, fromS: math.Inf(1), toS: math.Inf(-1)})
	c.bins[c.at] = make([]bin, legBins)
	j.begun, j.phase, j.movedAt = true, api.PhaseTurning, now
}

// add takes a reading with its position, which stands in its Angle.
func (c *course) add(s *Session, j *job, p sweep.Point) {
	if !c.under {
		return
	}
	if math.IsNaN(p.Angle) {
		j.untagged++
		return
	}
	leg := c.legs[c.at]
	if math.Abs(p.Angle-c.mm) > stirMM {
		c.mm, c.movedAt = p.Angle, time.Now()
		j.movedAt = c.movedAt
	}
	done := leg.done(p.Angle)
	if done < -0.5 || done > 1.5 { // far off the line
		j.untagged++
		return
	}
	j.keep(p)
	x := &c.stretches[len(c.stretches)-1]
	x.fromS, x.toS = math.Min(x.fromS, p.T), math.Max(x.toS, p.T)
	c.draw(j, p)
	if done >= 1 && c.endsByItself() {
		c.ended(s, j)
	}
}

// draw adds a reading to what is shown.
func (c *course) draw(j *job, p sweep.Point) {
	b := &c.bins[c.at][min(legBins-1, max(0, int(c.legs[c.at].done(p.Angle)*legBins)))]
	b.n, b.mm, b.reading, b.t = b.n+1, b.mm+p.Angle, b.reading+p.Reading, p.T
	j.grown = true
}

// atEnd reports whether the axis has come so close to the end of its leg that a hand which rests has come there.
func (c *course) atEnd() bool {
	leg := c.legs[c.at]
	return c.endsByItself() && math.Abs(c.mm-leg.ToMM) <= leg.near()
}

// ended takes the leg in hand as taken.
func (c *course) ended(s *Session, j *job) {
	c.states[c.at], c.under = sweep.StationTaken, false
	j.movedAt = time.Now()
	c.onward(s, j)
}

// onward goes to the next leg that is ahead; without one the run ends.
func (c *course) onward(s *Session, j *job) {
	last := c.at
	c.at = len(c.legs)
	for i, st := range c.states {
		if st == sweep.StationAhead {
			c.at = i
			break
		}
	}
	switch {
	case !c.left():
		s.end(api.Finished, "")
	case c.at == last+1 && c.legs[c.at].Follows && c.states[last] == sweep.StationTaken:
		c.start(j, time.Now())
	}
}

// take takes a person's word: the axis stands where the leg in hand begins, or ends.
func (c *course) take(s *Session, j *job) error {
	if !c.left() {
		return api.Conflict.Errorf("nothing is left to take")
	}
	if !c.under {
		if err := c.begin(c.legs[c.at]); err != nil {
			return err
		}
		c.start(j, time.Now())
		return nil
	}
	shown := c.bins[c.at]
	if !c.endsByItself() { // what was drawn comes again with its position
		c.bins[c.at] = make([]bin, legBins)
	}
	if err := c.end(c.legs[c.at]); err != nil {
		c.bins[c.at] = shown
		return err
	}
	c.ended(s, j)
	return nil
}

// skip leaves the leg in hand out.
func (c *course) skip(s *Session, j *job) error {
	if !c.left() {
		return api.Conflict.Errorf("nothing is left to skip")
	}
	c.forget(s, j, c.at, "the readings of %s were left out")
	c.states[c.at], c.under = sweep.StationSkipped, false
	c.onward(s, j)
	return nil
}

// redo puts a leg back to be taken next; negative means the one under way, or else the last one. Legs that follow each
// other without a pause are taken again together.
func (c *course) redo(s *Session, j *job, i int) error {
	switch {
	case i < 0 && c.under:
		i = c.at
	case i < 0:
		for i = min(c.at, len(c.legs)) - 1; i >= 0 && c.states[i] == sweep.StationAhead; i-- {
		}
		if i < 0 {
			return api.Conflict.Errorf("nothing has been taken yet")
		}
	case i >= len(c.legs):
		return api.Conflict.Errorf("there is no line %d; the last is %d", i, len(c.legs)-1)
	case c.states[i] == sweep.StationAhead && !(c.under && i == c.at):
		return api.Conflict.Errorf("line %d of %d has not been taken yet", i+1, len(c.legs))
	}
	if c.under && i != c.at {
		return api.Conflict.Errorf("%s is under way; end it first, or take it again", c.legs[c.at].Name)
	}
	c.again(s, j, i)
	return nil
}

// again has a leg, and those that belong to it, be taken again.
func (c *course) again(s *Session, j *job, i int) {
	for i > 0 && c.legs[i].Follows {
		i--
	}
	for k := i; k < len(c.legs) && (k == i || c.legs[k].Follows); k++ {
		c.forget(s, j, k, "the readings of %s were taken again")
		c.states[k] = sweep.StationAhead
	}
	c.at, c.under = i, false
	j.movedAt = time.Now()
	j.grown = true
}

// forget has the readings of a leg count no longer; they stay in the store.
func (c *course) forget(s *Session, j *job, leg int, say string) {
	c.bins[leg] = make([]bin, legBins)
	for i := range c.stretches {
		x := &c.stretches[i]
		if x.leg != leg || x.void {
			continue
		}
		x.void = true
		if x.fromS <= x.toS {
			j.flush(s, time.Now()) // what is in doubt must be there before the doubt
			j.doubt(s, sweep.Doubt{Code: sweep.DoubtRedone, FromS: x.fromS, ToS: x.toS,
				Text: fmt.Sprintf(say, c.legs[leg].Name)})
		}
	}
}

// lost takes the news that what said where the axis stands may start over.
func (c *course) lost(s *Session, j *job, why string) {
	if !c.under {
		return
	}
	c.again(s, j, c.at)
	c.why = why
}

// soFar returns what was read so far, thinned, with its places.
func (c *course) soFar() ([]sweep.Point, *Spots) {
	var pts []sweep.Point
	where := &Spots{Places: c.places}
	for leg, bins := range c.bins {
		for _, b := range bins {
			if b.n > 0 {
				pts = append(pts, sweep.Point{T: b.t, Angle: math.NaN(), Reading: b.reading / b.n})
				where.At, where.MM = append(where.At, leg), append(where.MM, b.mm/b.n)
			}
		}
	}
	return pts, where
}

// show adds what a face shows of it.
func (c *course) show(out *api.MeasuredState) {
	names := map[sweep.StationState]string{sweep.StationAhead: "ahead", sweep.StationTaken: "taken",
		sweep.StationSkipped: "skipped"}
	for i, l := range c.legs {
		x := api.PlaceState{Name: l.Name, Group: l.Group, At: l.FromMM, State: names[c.states[i]]}
		if i == c.at {
			x.State = "here"
		}
		out.Places = append(out.Places, x)
		for _, b := range c.bins[i] {
			if b.n > 0 {
				out.Curve = append(out.Curve, api.CourseValue{At: b.mm / b.n, MM: b.reading / b.n, Group: l.Group})
			}
		}
	}
	out.Act = "begin"
	if c.under {
		out.Act = "end"
	}
}

func (c *course) say(*Session, *job) string {
	if !c.left() {
		return ""
	}
	leg := c.legs[c.at]
	if !c.under {
		text := c.sayBegin(leg)
		if c.why != "" {
			text = c.why + " " + text
		}
		return text
	}
	mm, known := c.where()
	return c.sayEnd(leg, mm, known)
}
