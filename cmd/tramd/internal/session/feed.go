package session

import (
	"fmt"
	"math"

	"tramd/cmd/tramd/internal/api"
	"tramd/sweep"
)

// feeding is an axis that the machine moves at a constant feed. A person, or a foot switch, marks when it passes the
// beginning and the end of a leg; what was read in between lies between the two by its time. It waits for the second
// mark: until then its places are known by the feed alone.
type feeding struct {
	mmPerS float64
	now    func() float64    // seconds, on the clock of the readings
	keep   func(sweep.Point) // takes a reading with its position
	show   func(sweep.Point) // takes one whose position is not final
	leg    Leg
	from   float64 // when the beginning was marked, seconds
	waits  []sweep.Point
}

const (
	feedOff   = 0.25 // by how much of the feed the marks may contradict it
	feedWaits = 2    // times the leg after which readings are taken no more: the end was not marked
)

// soonest is the shortest time between two marks: a key that bounces is no second mark.
const soonest = 1.0 // seconds

// after is where the axis is a time after the beginning, by the feed.
func (f *feeding) after(seconds float64) float64 {
	return f.leg.FromMM + math.Copysign(f.mmPerS*seconds, f.leg.ToMM-f.leg.FromMM)
}

func (f *feeding) read(t, mm float64) {
	p := sweep.Point{T: t, Angle: f.after(t - f.from), Reading: mm}
	if t < f.from || f.leg.done(p.Angle) > feedWaits {
		return
	}
	f.waits = append(f.waits, p)
	f.show(p)
}

func (f *feeding) begin(leg Leg) error {
	f.leg, f.from, f.waits = leg, f.now(), nil
	return nil
}

func (f *feeding) end(leg Leg) error {
	took := f.now() - f.from
	feed := leg.length() / took
	switch {
	case took < soonest:
		return api.Conflict.Errorf("the end is marked %.1f s after the beginning; press as the axis passes %g mm",
			took, leg.ToMM)
	case math.Abs(feed-f.mmPerS) > feedOff*f.mmPerS:
		return api.Conflict.Errorf(
			"by the two marks the axis moved at %.0f mm/min, and feed_mm_per_min is %.0f: press as it passes %g mm, or take the line again",
			60*feed, 60*f.mmPerS, leg.ToMM)
	}
	f.give(func(t float64) float64 { return leg.FromMM + (leg.ToMM-leg.FromMM)*(t-f.from)/took }, took)
	return nil
}

// leave keeps what waits where the feed alone says that it was: its end is not marked any more.
func (f *feeding) leave() {
	f.give(func(t float64) float64 { return f.after(t - f.from) }, math.Inf(1))
}

// give hands on what waits, up to a time after the beginning.
func (f *feeding) give(where func(t float64) float64, took float64) {
	for _, p := range f.waits {
		if p.T <= f.from+took {
			p.Angle = where(p.T)
			f.keep(p)
		}
	}
	f.waits = nil
}

func (f *feeding) endsByItself() bool { return false }

func (f *feeding) where() (mm float64, known bool) {
	return f.after(f.now() - f.from), f.from > 0
}

func (f *feeding) sayBegin(leg Leg) string {
	return fmt.Sprintf(
		"%s, and a little back from there. Run the axis at %.0f mm/min towards %g mm, keep clear of it, and press as it passes %g mm.",
		leg.Do, 60*f.mmPerS, leg.ToMM, leg.FromMM)
}

func (f *feeding) sayEnd(leg Leg, mm float64, _ bool) string {
	return fmt.Sprintf("Let it run, keep clear, and press as it passes %g mm: %.0f mm.", leg.ToMM, mm)
}
