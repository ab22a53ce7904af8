package drift

import "math"

// Interval is what one method recommends until the next check.
type Interval struct {
	Method string  // its name
	Days   float64 // NaN: it cannot say
	Hours  float64 // spindle hours; NaN: it cannot say
	Basis  string  // what it went by, or why it cannot say
}

// The methods of ILAC-G24:2022 / OIML D 10:2022, Guidelines for the determination of recalibration intervals of
// measuring equipment (clause 6, from memory), carried over to a machine that is checked. Their figures are left open
// there; ours are:
const (
	staircaseUp   = 1.5  // a check well within: the next interval is longer by this
	staircaseDown = 0.5  // a check outside: shorter by this
	wellWithin    = 0.8  // of the tolerance
	chartSure     = 1.96 // standard deviations of the extrapolated line
	mostDays      = 365  // common practice, no source: once a year at least
)

// Intervals gives the next interval by this program's model and, to compare, by the methods of the guideline. The rows
// are those the history gave.
func (a *Answer) Intervals(h *History, reliability float64) []Interval {
	out := []Interval{a.own(reliability)}
	seg := h.Segment()
	out = append(out, staircase(seg), controlChart(seg, a.Tracker.limit), inUse(seg, a.Tracker.limit))
	return out
}

func (a *Answer) own(reliability float64) Interval {
	i := Interval{Method: "forecast of the drift model", Days: math.NaN(), Hours: math.NaN(), Basis: a.Forecast.Why}
	if n := a.Forecast.Next; n != nil && n.borne() {
		i.Days, i.Hours, i.Basis = n.Days, n.SpindleHours, n.Basis(reliability)
	}
	return i
}

// Segment is the checks since the last event that ended one, with the hours of the counter as last read.
func (h *History) Segment() []Check {
	var out []Check
	hours := math.NaN()
	for _, e := range h.Entries {
		switch {
		case e.Check != nil:
			c := *e.Check
			if finite(c.SpindleHours) {
				hours = c.SpindleHours
			}
			c.SpindleHours = hours
			out = append(out, c)
		case e.Event.Kind == HoursEvent:
			hours = e.Event.Hours
		case e.Event.EndsSegment():
			out = nil
		}
	}
	return out
}

// staircase lengthens the interval after a check well within the tolerance and shortens it after one outside.
func staircase(checks []Check) Interval {
	out := Interval{Method: "staircase (automatic adjustment)", Days: math.NaN(), Hours: math.NaN()}
	if len(checks) < 2 {
		out.Basis = "needs two checks since the last event"
		return out
	}
	var g gaps
	for _, c := range checks {
		g.add(days(c.Time.Sub(checks[0].Time)))
	}
	out.Days = g.typical()
	for _, c := range checks[1:] {
		switch worst := c.worst(); {
		case c.Limit <= 0:
			out.Days, out.Basis = math.NaN(), "needs a tolerance"
			return out
		case worst > c.Limit:
			out.Days *= staircaseDown
		case worst < wellWithin*c.Limit:
			out.Days = math.Min(out.Days*staircaseUp, mostDays)
		}
	}
	out.Basis =
		"begun at the usual gap, half as long again after each check below 80 % of the tolerance, half as long after one outside, a year at most"
	return out
}

// worst is the larger lean of the two axes.
func (c Check) worst() float64 {
	out := 0.0
	for _, v := range c.Axis {
		if v != nil {
			out = math.Max(out, math.Abs(v.MMPerM))
		}
	}
	return out
}

// controlChart draws a straight line through the checks and asks when it, with its uncertainty, leaves the tolerance.
func controlChart(checks []Check, limit float64) Interval {
	out := Interval{Method: "control chart (calendar time)", Hours: math.NaN()}
	out.Days, out.Basis = lineLeaves(checks, limit, func(c Check) float64 { return days(c.Time.Sub(checks[0].Time)) })
	if finite(out.Days) {
		if out.Days > mostDays {
			out.Days = mostDays
		}
		out.Basis =
			"a straight line through the checks since the last event, with 95 % of its uncertainty, leaves the tolerance then; a year at most"
	}
	return out
}

// inUse does the same over the spindle's hours.
func inUse(checks []Check, limit float64) Interval {
	out := Interval{Method: "in-use time (spindle hours)", Days: math.NaN(), Hours: math.NaN()}
	var counted []Check
	for _, c := range checks {
		if finite(c.SpindleHours) {
			counted = append(counted, c)
		}
	}
	if len(counted) < 3 {
		out.Basis = "needs the hour counter at three checks since the last event"
		return out
	}
	first := counted[0].SpindleHours
	out.Hours, out.Basis = lineLeaves(counted, limit, func(c Check) float64 { return c.SpindleHours - first })
	if finite(out.Hours) {
		const mostHours = 8760 // a year without a stop
		out.Hours = math.Min(out.Hours, mostHours)
		out.Basis = "a straight line over the hour counter, with 95 % of its uncertainty, leaves the tolerance then"
	}
	return out
}

// lineLeaves is how far beyond the last check a fitted line, or its interval, first leaves the tolerance on either
// axis.
func lineLeaves(checks []Check, limit float64, clock func(Check) float64) (float64, string) {
	if limit <= 0 {
		return math.NaN(), "needs a tolerance"
	}
	if len(checks) < 3 {
		return math.NaN(), "needs three checks since the last event"
	}
	now := clock(checks[len(checks)-1])
	first := math.Inf(1)
	for axis := range Axes {
		var x, y []float64
		for _, c := range checks {
			if v := c.Axis[axis]; v != nil {
				x, y = append(x, clock(c)), append(y, v.MMPerM)
			}
		}
		l, ok := fitLine(x, y)
		if !ok {
			return math.NaN(), "needs three checks at different times on each axis"
		}
		first = math.Min(first, l.leaves(now, limit))
	}
	return first, ""
}

// line is a straight line by least squares.
type line struct {
	n, mx, my, slope, sxx, s float64
}

func fitLine(x, y []float64) (line, bool) {
	l := line{n: float64(len(x))}
	if len(x) < 3 {
		return l, false
	}
	for i := range x {
		l.mx += x[i] / l.n
		l.my += y[i] / l.n
	}
	var sxy, syy float64
	for i := range x {
		l.sxx += sq(x[i] - l.mx)
		sxy += (x[i] - l.mx) * (y[i] - l.my)
		syy += sq(y[i] - l.my)
	}
	if !(l.sxx > 0) {
		return l, false
	}
	l.slope = sxy / l.sxx
	l.s = math.Sqrt(math.Max(0, syy-l.slope*sxy) / (l.n - 2))
	return l, true
}

// leaves is how far beyond now the line's interval first reaches the limit; it only widens, so by halving.
func (l line) leaves(now, limit float64) float64 {
	out := func(h float64) bool {
		x := now + h - l.mx
		mean := l.my + l.slope*x
		return math.Abs(mean)+chartSure*l.s*math.Sqrt(1/l.n+x*x/l.sxx) >= limit
	}
	if out(0) {
		return 0
	}
	low, high := 0.0, 1.0
	for !out(high) {
		if low, high = high, 2*high; high > 1e6 {
			return high
		}
	}
	for range 50 {
		if mid := (low + high) / 2; out(mid) {
			high = mid
		} else {
			low = mid
		}
	}
	return high
}
