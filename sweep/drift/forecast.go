package drift

import (
	"math"
	"time"
)

// Forecast is when to look again and when the machine will be outside.
type Forecast struct {
	Next    *NextCheck
	Outside *OutsideDate
	Why     string // why the record bears no date of its own, or none of being outside
}

// NextCheck is when the next check is due: the day by which the chance of being outside comes to what is left of the
// reliability, or another one with its reason.
type NextCheck struct {
	Time          time.Time
	Days          float64 // from the last check, or from the event that made the machine another one
	SpindleHours  float64 // from the last check; NaN when not known
	ChanceOutside float64 // at that time; NaN where the record does not bear it
	ByHours       bool    // the cause of the movement follows the spindle's hours: the hours decide, and the date comes of the present use
	LimitedBy     Reason
	Plan          Plan
}

// OutsideDate is when the chance of being outside comes to one half, and the interval of 95 % about it.
type OutsideDate struct {
	Time, Low, High time.Time
	HighOpen        bool // the chance does not come to 97.5 % within sight; High is where sight ends
}

// How far the date of being outside may lie ahead.
const (
	sightYears   = 10.0
	sightRecords = 20 // and as many times the record's length
)

// ChanceOutside is the probability that either axis lies outside its tolerance so many days after the last check; NaN
// with no tolerance or nothing measured.
func (t *Tracker) ChanceOutside(afterDays float64) float64 {
	inside, any := 1.0, false
	now := days(t.last.Sub(t.began))
	for _, a := range t.axes {
		if a.bank == nil || t.limit <= 0 {
			continue
		}
		any = true
		inside *= 1 - a.bank.outside(now+afterDays-a.bank.last, t.limit)
	}
	if !any {
		return math.NaN()
	}
	return 1 - inside
}

// outside is the probability that the lean lies beyond the limit h days after the bank's last check.
func (b *bank) outside(h, limit float64) float64 {
	var decay [len(tausInGaps)]float64
	for i, tau := range b.taus {
		decay[i] = math.Exp(-h / tau)
	}
	sum, swing := 0.0, b.air.ahead(h)
	for i := range b.h {
		x := &b.h[i]
		if x.weight < 1e-6 {
			continue
		}
		d := 0.0
		if x.tau >= 0 {
			d = decay[x.tau]
		}
		m, v := x.ahead(&x.process, b.until(h, x), d, b.air.usual)
		v += b.swings(x, swing)
		s := math.Sqrt(v * x.square / b.dof)
		sum += x.weight * (beyond((limit-m)/s, b.dof) + beyond((limit+m)/s, b.dof))
	}
	return sum
}

// until is how much of a process's own time h days are.
func (b *bank) until(h float64, x *hypothesis) float64 {
	if x.used {
		return h * b.pace()
	}
	return h
}

// beyond is the probability that a Student variable exceeds t.
func beyond(t, dof float64) float64 {
	if math.IsNaN(t) { // nothing is uncertain and the lean is the limit
		return 0.5
	}
	if math.IsInf(t, 0) {
		return above(t)
	}
	return above(normalOfT(t, dof))
}

// Forecast says when the next check is due for a reliability such as 0.95, and when the machine will be outside.
func (t *Tracker) Forecast(reliability float64) Forecast {
	out := Forecast{Next: t.due(1 - reliability)}
	if out.Why = t.silent(); out.Why == "" {
		out.Outside, out.Why = t.outsideDate()
	}
	return out
}

// silent says why no date can be given, or nothing.
func (t *Tracker) silent() string {
	n := t.borne()
	switch {
	case t.checks == 0:
		return "no check yet"
	case t.limit <= 0:
		return "no tolerance: nothing to be outside of"
	case t.here == 0:
		return "no check since the last event: take one"
	case t.here == 1:
		return "one check only since the last event: nothing to tell a rate from"
	case n < leastChecks:
		return "fewer than three checks since the machine last changed: too little to tell a rate from"
	case t.span() < leastDays:
		return "all checks since the last event were taken within a day: nothing to tell a rate from"
	}
	return ""
}

// borne is how many checks what is said rests on: those of the axis with fewer.
func (t *Tracker) borne() int {
	n := math.MaxInt
	for _, a := range t.axes {
		if a.bank != nil {
			n = min(n, a.checks())
		}
	}
	if n == math.MaxInt {
		return 0
	}
	return n
}

// span is how many days the record since the last event covers.
func (t *Tracker) span() float64 { return days(t.lastCheckAt.Sub(t.since)) }

// byHours is how likely it is that the axis which is likelier to be outside by then follows the spindle's hours.
func (t *Tracker) byHours(afterDays float64) float64 {
	out, worst := math.NaN(), -1.0
	for _, a := range t.axes {
		if a.bank == nil {
			continue
		}
		if p := a.bank.outside(days(t.last.Sub(t.began))+afterDays-a.bank.last, t.limit); p > worst {
			out, worst = a.bank.byHours(), p
		}
	}
	return out
}

func (t *Tracker) outsideDate() (*OutsideDate, string) {
	if t.borne() < 5 {
		return nil, "fewer than five checks since the machine last changed: too little for a date of being outside"
	}
	last := t.lastCheckAt
	f := t.futures(math.Min(sightYears*365.25, sightRecords*t.covered))
	if f.chance(0) >= 0.5 {
		return nil, "it is outside already, as likely as not"
	}
	mid, found := f.when(0.5)
	if !found {
		return nil, "nothing seen so far would take it outside"
	}
	low, _ := f.when(0.025)
	high, closed := f.when(0.975)
	if !closed {
		high = math.Min(sightYears*365.25, sightRecords*t.covered)
	}
	return &OutsideDate{Time: last.Add(duration(mid)), Low: last.Add(duration(low)), High: last.Add(duration(high)),
		HighOpen: !closed}, ""
}

// duration is so many days, to the second.
func duration(d float64) time.Duration {
	return time.Duration(d*86400) * time.Second
}
