package report

import (
	"fmt"
	"html/template"
	"math"
	"time"

	"tramd/sweep/drift"
)

// history draws one axis from the first check to as far as anything is expected.
func (l leans) history(v *drift.View, axis int) picture {
	name := drift.Axes[axis]
	p := picture{Title: title(name)}
	var measured, level, ahead []spot
	for _, c := range v.Checks {
		t := parse(c.Time)
		if m := c.Measured[name]; m != nil {
			s := spot{t: t, v: m.MMPerM, low: m.MMPerM, high: m.MMPerM}
			if m.U != nil {
				s.low, s.high = m.MMPerM-1.96**m.U, m.MMPerM+1.96**m.U
			}
			measured = append(measured, s)
		}
		if s, ok := believed(t, c.Axis[name]); ok {
			level = append(level, s)
		}
	}
	for _, m := range v.Ahead {
		if s, ok := believed(parse(m.Time), m.Axis[name]); ok {
			ahead = append(ahead, s)
		}
	}
	if len(measured) == 0 {
		p.Says = "not measured"
		return p
	}
	from, till := measured[0].t, measured[len(measured)-1].t
	if n := len(ahead); n > 0 { // no further than half as long again, or the past is squeezed
		till = earlier(ahead[n-1].t, till.Add(till.Sub(from)/2))
	}
	low, high := extent(v.Limit, measured, expected(measured, until(ahead, till)))
	p.Says = fmt.Sprintf("%s from %s to %s: %d checks, tolerance, events, and what is expected until %s", name,
		day(from), day(measured[len(measured)-1].t), v.Total, day(till))
	f := l.newFrame(from, till, low, high, p.Says)
	if v.Limit > 0 {
		f.level("limit", v.Limit)
		f.level("limit", -v.Limit)
	}
	f.level("zero", 0)
	for _, part := range segments(level, v.Events) {
		f.band("band", part)
		f.line("level", part)
	}
	ahead = until(ahead, till)
	f.band("ahead", ahead)
	f.line("expected", ahead)
	f.dots("dot", measured)
	for _, e := range v.Events {
		if t := parse(e.Time); !t.Before(from) && !t.After(till) && e.Kind != "note" {
			f.moment("event", t, e.Kind+": "+e.Time+": "+e.Text)
			f.mark(t, e.Kind)
		}
	}
	if n := v.Next; n != nil {
		if t := parse(n.Time); !t.After(till) {
			f.moment("next", t, "next check: "+n.Time)
			f.mark(t, "next check")
		}
	}
	p.SVG = template.HTML(f.String()) //nolint:gosec // made here; every text in it is escaped
	return p
}

func title(name string) string {
	if name == "tilt" {
		return "Tilt (positive: the upper end leans to the operator's right)"
	}
	return "Nod (positive: the upper end leans to the back)"
}

func parse(s string) time.Time {
	t, err := time.Parse(time.RFC3339, s)
	if err != nil { // the view wrote it
		return time.Time{}
	}
	return t
}

func day(t time.Time) string { return t.Local().Format(time.DateOnly) }

func earlier(a, b time.Time) time.Time {
	if a.Before(b) {
		return a
	}
	return b
}

// believed is a level with its interval of 95 %.
func believed(t time.Time, x *drift.LeanOut) (spot, bool) {
	if x == nil {
		return spot{}, false
	}
	s := spot{t: t, v: x.Level, low: x.Level, high: x.Level}
	if x.U != nil {
		s.low, s.high = x.Level-1.96**x.U, x.Level+1.96**x.U
	}
	return s, true
}

// expected returns the part of the forecast that must have room: the level, and of its band as much as doubles the room
// that the measured values take. A band must not be clipped to nothing, nor press the past flat.
func expected(measured, ahead []spot) []spot {
	low, high := math.Inf(1), math.Inf(-1)
	for _, s := range append(append([]spot{}, measured...), ahead...) {
		low, high = math.Min(low, s.v), math.Max(high, s.v)
	}
	room := math.Max(high-low, 0.01) / 2
	var out []spot
	for _, s := range ahead {
		out = append(out, s, spot{v: math.Max(s.low, low-room)}, spot{v: math.Min(s.high, high+room)})
	}
	return out
}

// extent is the room the values need. A limit more than three times as far off as anything measured is not shown.
func extent(limit float64, measured, more []spot) (low, high float64) {
	low, high = math.Inf(1), math.Inf(-1)
	for _, s := range append(append([]spot{}, measured...), more...) {
		low, high = math.Min(low, s.v), math.Max(high, s.v)
	}
	if far := math.Max(math.Abs(low), math.Abs(high)); limit > 0 && limit < 3*far+0.05 {
		low, high = math.Min(low, -limit), math.Max(high, limit)
	}
	return low, high
}

// segments parts a line where an event made the machine another one.
func segments(s []spot, events []drift.ViewEvent) [][]spot {
	var out [][]spot
	begin := 0
	for i := 1; i <= len(s); i++ {
		apart := i == len(s)
		for _, e := range events {
			ends := drift.Event{Kind: e.Kind}.EndsSegment()
			if t := parse(e.Time); i < len(s) && ends && t.After(s[i-1].t) && !t.After(s[i].t) {
				apart = true
			}
		}
		if apart {
			out = append(out, s[begin:i])
			begin = i
		}
	}
	return out
}

func until(s []spot, till time.Time) []spot {
	for i, p := range s {
		if p.t.After(till) {
			return s[:i]
		}
	}
	return s
}
