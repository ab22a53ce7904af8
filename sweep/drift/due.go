package drift

import (
	"fmt"
	"math"
)

// Plan is what the configuration says of the interval between checks, in days.
type Plan struct {
	First  float64 // until the next check, where the record bears no date of its own
	AtMost float64 // whatever the record says
}

// Usual is the plan of a record without a configuration: a week, and a year (common practice, no source).
func Usual() Plan { return Plan{First: 7, AtMost: 365} }

// orUsual fills in what was left out.
func (p Plan) orUsual() Plan {
	usual := Usual()
	if !(p.First > 0) {
		p.First = usual.First
	}
	if !(p.AtMost > 0) {
		p.AtMost = usual.AtMost
	}
	p.First = math.Min(p.First, p.AtMost)
	return p
}

// Reason is what decides a due date.
type Reason string

// Reasons of a due date.
const (
	ByChance  Reason = "chance"  // the chance of being outside comes to what is left of the reliability
	ByRecord  Reason = "record"  // that chance stays below it, and the record bears no date further off
	ByAtMost  Reason = "at_most" // the same, and the configuration wants no longer interval
	ByFirst   Reason = "first"   // the record bears no date yet: the first interval of the configuration
	ByRisk    Reason = "now"     // that chance is above it already
	ByOutside Reason = "outside" // the machine is outside its tolerance
	ByEvent   Reason = "event"   // something happened to the machine and no check was taken since
)

// Least a record must have before it bears a date of its own.
const (
	leastChecks = 3   // since the last event
	leastDays   = 1.0 // between the first and the last of them; less is one sitting
)

// due is when the next check is due, by a reason where the record bears no date; nil where there is neither check nor
// event.
func (t *Tracker) due(risk float64) *NextCheck {
	n := &NextCheck{SpindleHours: math.NaN(), ChanceOutside: math.NaN(), Plan: t.Plan.orUsual()}
	switch {
	case t.here == 0 && t.changed.IsZero():
		return nil
	case t.here == 0:
		n.Time, n.LimitedBy = t.changed, ByEvent
		return n
	case t.limit <= 0:
		n.Days, n.LimitedBy = n.Plan.First, ByFirst
	default:
		t.dueByRecord(n, risk)
	}
	last := t.lastCheckAt
	n.Time = last.Add(duration(n.Days))
	if use := t.hours.perDay(); finite(use) {
		n.SpindleHours = use * n.Days
		n.ByHours = n.LimitedBy == ByChance && use > 0 && t.byHours(n.Days+days(last.Sub(t.last))) > 0.5
	}
	return n
}

func (t *Tracker) dueByRecord(n *NextCheck, risk float64) {
	bears := t.bears()
	few := t.borne() < leastChecks || t.span() < leastDays
	f := t.futures(math.Min(bears, n.Plan.AtMost))
	h, found := f.when(risk)
	switch {
	case t.isOutside():
		n.LimitedBy = ByOutside
	case f.chance(0) >= risk:
		n.LimitedBy = ByRisk
	case few:
		n.Days, n.LimitedBy = n.Plan.First, ByFirst
		return // what few checks say of the chance is what was believed before
	case found:
		n.Days, n.LimitedBy = h, ByChance
	case bears >= n.Plan.AtMost:
		n.Days, n.LimitedBy = n.Plan.AtMost, ByAtMost
	default:
		n.Days, n.LimitedBy = bears, ByRecord
	}
	n.ChanceOutside = f.chance(n.Days)
}

func (t *Tracker) isOutside() bool { return t.axes[0].outside != nil || t.axes[1].outside != nil }

// longGap is how many usual gaps of a gap count: what happened in the rest of it is not known, and a clock that jumped
// makes no long record.
const longGap = 10

// bears is how many days ahead the record bears a date: a multiple of its length that grows with the number of checks.
func (t *Tracker) bears() float64 {
	return t.covered * math.Min(4, float64(t.here-1)/2)
}

// cover takes note of a gap before a check.
func (t *Tracker) cover(gap float64) {
	t.gaps.add(days(t.last.Sub(t.began)))
	t.covered += math.Min(gap, longGap*t.gaps.low())
}

// Basis says in a sentence what the due date rests on.
func (n *NextCheck) Basis(reliability float64) string {
	risk := percent(1 - reliability)
	switch n.LimitedBy {
	case ByChance:
		if n.ByHours {
			return "the chance of being outside comes to " + risk +
				" after so many spindle hours; the date is that of the present use"
		}
		return "the chance of being outside comes to " + risk + " then"
	case ByRecord:
		return "the chance of being outside stays below " + risk + ", and the record bears no date further off"
	case ByAtMost:
		return fmt.Sprintf("the chance of being outside stays below %s; after %s at most all the same", risk,
			daysText(n.Plan.AtMost))
	case ByFirst:
		return fmt.Sprintf("the record bears no date of its own yet: the first interval, %s after the last check",
			daysText(n.Plan.First))
	case ByOutside:
		return "outside its tolerance: due now"
	case ByEvent:
		return "no check since something happened to the machine: due now"
	}
	return "the chance of being outside is above " + risk + " already: due now"
}

// borne reports whether the record bears the date, and not only the configuration or an event.
func (n *NextCheck) borne() bool { return n.LimitedBy != ByFirst && n.LimitedBy != ByEvent }

func daysText(d float64) string {
	if d == 1 {
		return "1 day"
	}
	return fmt.Sprintf("%.4g days", d)
}
