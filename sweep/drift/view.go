package drift

import (
	"math"
	"slices"
	"strings"
	"time"
)

// View is a history as a page can draw it: thinned to so many checks that the eye sees no difference. Its JSON is
// what pages read.
type View struct {
	tailJSON
	Limit  float64      `json:"limit_mm_per_m"` // of the last check; 0: none
	Total  int          `json:"total"`          // checks there are; Checks may be fewer
	Checks []ViewCheck  `json:"checks"`
	Events []ViewEvent  `json:"events"`
	Ahead  []ViewMoment `json:"ahead"` // what is expected, from the last check on
}

// ViewCheck is one check with what was said of it.
type ViewCheck struct {
	Time     string               `json:"time"`
	Run      int                  `json:"run"`
	Measured map[string]*ValueOut `json:"measured"` // null: the axis was not measured
	Axis     map[string]*LeanOut  `json:"axis"`
	Alarm    AlarmKind            `json:"alarm"`  // the gravest of either axis
	Alarms   map[string]AlarmKind `json:"alarms"` // the gravest of each
}

// ViewEvent is something that happened.
type ViewEvent struct {
	Time string `json:"time"`
	Kind string `json:"kind"`
	Text string `json:"text"`
}

// ViewMoment is what is expected at one moment to come.
type ViewMoment struct {
	Time   string              `json:"time"`
	Axis   map[string]*LeanOut `json:"axis"`
	Chance *float64            `json:"chance_outside"`
}

// ValueOut is what was measured.
type ValueOut struct {
	MMPerM float64  `json:"mm_per_m"`
	U      *float64 `json:"u_mm_per_m"`
}

// LeanOut is what is believed.
type LeanOut struct {
	Level float64  `json:"level_mm_per_m"`
	U     *float64 `json:"u_mm_per_m"`
}

// View makes the drawing of a history of at most about so many checks.
func (a *Answer) View(h *History, most int, reliability float64) *View {
	v := &View{tailJSON: a.tail(reliability), Limit: a.Tracker.limit, Checks: []ViewCheck{}, Events: []ViewEvent{}}
	checks := h.checks()
	v.Total = len(checks) + h.Left
	for _, k := range thin(checks, a.Rows, most) {
		v.Checks = append(v.Checks, viewCheck(checks[k], &a.Rows[k]))
	}
	for _, e := range h.Entries {
		if e.Event != nil && e.Event.Kind != HoursEvent {
			v.Events = append(v.Events, ViewEvent{stamp(e.Event.Time), e.Event.Kind, e.Event.Text})
		}
	}
	const mostEvents = 500
	v.Events = v.Events[max(0, len(v.Events)-mostEvents):]
	v.Ahead = a.Tracker.moments(24)
	return v
}

// Thin leaves out of a history, and of the rows that belong to its checks, what a drawing of so many checks would not
// show, and gives the rows that remain. Events stay. What remains is copied: scattered among what was left out it would
// hold most of the memory that all of it took.
func (h *History) Thin(rows []Row, most int) []Row {
	keep := thin(h.checks(), rows, most)
	entries := make([]Entry, 0, len(h.Entries)-len(rows)+len(keep))
	left := make([]Row, 0, len(keep))
	k := 0
	for _, e := range h.Entries {
		if e.Check != nil {
			if k++; len(left) == len(keep) || keep[len(left)] != k-1 {
				continue
			}
			left = append(left, rows[k-1].clone())
			e.Check, e.Surface = e.Check.clone(), strings.Clone(e.Surface)
		}
		entries = append(entries, e)
	}
	h.Entries, h.Left = entries, h.Left+len(rows)-len(left)
	return left
}

func (c *Check) clone() *Check {
	out := *c
	for i, v := range c.Axis {
		out.Axis[i] = copied(v)
	}
	out.TemperatureC = copied(c.TemperatureC)
	return &out
}

func (r Row) clone() Row {
	for i, x := range r.Axis {
		r.Axis[i] = copied(x)
	}
	r.Alarms = slices.Clone(r.Alarms)
	return r
}

func copied[T any](from *T) *T {
	if from == nil {
		return nil
	}
	to := *from
	return &to
}

func (h *History) checks() []Entry {
	var out []Entry
	for _, e := range h.Entries {
		if e.Check != nil {
			out = append(out, e)
		}
	}
	return out
}

// thin picks the checks to draw: of each stretch the highest and the lowest of both axes, and wherever the alarm
// changed, so that no peak is lost.
func thin(checks []Entry, rows []Row, most int) []int {
	n := len(checks)
	if n <= most {
		out := make([]int, n)
		for i := range out {
			out[i] = i
		}
		return out
	}
	keep := map[int]bool{0: true, n - 1: true}
	stretches := max(1, most/4)
	for s := range stretches {
		from, to := s*n/stretches, (s+1)*n/stretches
		for axis := range Axes {
			low, high := -1, -1
			for k := from; k < to; k++ {
				v := checks[k].Check.Axis[axis]
				if v == nil {
					continue
				}
				if low < 0 || v.MMPerM < checks[low].Check.Axis[axis].MMPerM {
					low = k
				}
				if high < 0 || v.MMPerM > checks[high].Check.Axis[axis].MMPerM {
					high = k
				}
			}
			if low >= 0 {
				keep[low], keep[high] = true, true
			}
		}
	}
	changes := 0
	for k := 1; k < n && changes < most/4; k++ {
		if rows[k].Alarm != rows[k-1].Alarm {
			keep[k] = true
			changes++
		}
	}
	out := make([]int, 0, len(keep))
	for k := range keep {
		out = append(out, k)
	}
	slices.Sort(out)
	return out
}

func viewCheck(e Entry, r *Row) ViewCheck {
	out := ViewCheck{Time: stamp(r.Time), Run: e.Place, Measured: map[string]*ValueOut{}, Axis: map[string]*LeanOut{},
		Alarm: r.Alarm, Alarms: map[string]AlarmKind{}}
	for i, name := range Axes {
		out.Alarms[name] = None
		for _, a := range r.Alarms {
			if (a.Axis == name || a.Axis == "both") && a.Kind.severity() > out.Alarms[name].severity() {
				out.Alarms[name] = a.Kind
			}
		}
		out.Measured[name], out.Axis[name] = nil, r.Axis[i].out()
		if v := e.Check.Axis[i]; v != nil {
			out.Measured[name] = &ValueOut{round(v.MMPerM, 6), nil}
			if known(v.U) {
				u := round(v.U, 6)
				out.Measured[name].U = &u
			}
		}
	}
	return out
}

func (x *Lean) out() *LeanOut {
	if x == nil {
		return nil
	}
	out := &LeanOut{Level: round(x.Level, 6)}
	if finite(x.U) {
		u := round(x.U, 6)
		out.U = &u
	}
	return out
}

// Expect is the lean so many days after the last check; nil where nothing was measured. Rates are left out.
func (t *Tracker) Expect(afterDays float64) [2]*Lean {
	var out [2]*Lean
	at := days(t.last.Sub(t.began)) + afterDays
	for i, a := range t.axes {
		if a.bank != nil {
			x := a.bank.expect(at - a.bank.last)
			out[i] = &x
		}
	}
	return out
}

func (b *bank) expect(h float64) Lean {
	var decay [len(tausInGaps)]float64
	for i, tau := range b.taus {
		decay[i] = math.Exp(-h / tau)
	}
	var mean, square float64
	wide, swing := b.student(), b.air.ahead(h)
	for i := range b.h {
		x := &b.h[i]
		d := 0.0
		if x.tau >= 0 {
			d = decay[x.tau]
		}
		m, v := x.ahead(&x.process, b.until(h, x), d, b.air.usual)
		v += b.swings(x, swing)
		mean += x.weight * m
		square += x.weight * (m*m + v*x.square/b.dof*wide)
	}
	return Lean{Level: mean, U: math.Sqrt(math.Max(0, square-mean*mean))}
}

// moments are n moments from the last check as far ahead as the record bears.
func (t *Tracker) moments(n int) []ViewMoment {
	out := []ViewMoment{}
	if t.here < 2 || t.bears() <= 0 {
		return out
	}
	furthest := t.furthest()
	for i := range n + 1 {
		h := furthest * float64(i) / float64(n)
		m := ViewMoment{Time: stamp(t.last.Add(duration(h))), Axis: map[string]*LeanOut{}}
		for k, x := range t.Expect(h) {
			m.Axis[Axes[k]] = x.out()
		}
		if p := t.ChanceOutside(h); finite(p) {
			p = round(p, 6)
			m.Chance = &p
		}
		out = append(out, m)
	}
	return out
}

// furthest is how many days ahead anything is said at most.
func (t *Tracker) furthest() float64 { return math.Min(t.Plan.orUsual().AtMost, t.bears()) }

// Began is when the first check or event was; zero when there was none.
func (t *Tracker) Began() time.Time { return t.began }

// Checks is how many checks there were since the last event.
func (t *Tracker) Checks() int { return t.here }

// Limit is the tolerance of the last check in mm/m; 0: none.
func (t *Tracker) Limit() float64 { return t.limit }
