package drift

import (
	"errors"
	"fmt"
	"math"
	"time"
)

// Axes are the names of the axes, in the order in which everything here keeps them.
var Axes = [2]string{"tilt", "nod"}

// Value is one axis of a check.
type Value struct {
	MMPerM float64
	U      float64 // standard uncertainty in mm/m; 0 or NaN: not known
}

// Check is one measurement of the machine that nothing was adjusted for.
type Check struct {
	Time         time.Time
	Axis         [2]*Value  // nil: not measured
	DoF          [2]float64 // degrees of freedom behind each axis's U; 0 or +Inf: as good as infinitely many
	Limit        float64    // the tolerance in mm/m that held on that day; 0: none
	SpindleHours float64    // of the machine's counter; NaN: not known
	TemperatureC *float64   // of the machine; nil: not known
}

// Event is something that happened to the machine.
type Event struct {
	Time time.Time
	Kind string // "adjusted", "crashed", "serviced", "moved", "acknowledged"; "note" and HoursEvent end nothing
	Text string

	Hours float64 // of HoursEvent: what the spindle's hour counter showed
}

// HoursEvent is the kind of event that says what the spindle's hour counter showed.
const HoursEvent = "hours"

// EndsSegment reports whether the machine is another one after the event.
func (e Event) EndsSegment() bool { return e.Kind != "note" && e.Kind != HoursEvent && e.Kind != "" }

// Row is what was said on the day of a check.
type Row struct {
	Time   time.Time
	Axis   [2]*Lean // nil: never measured since the last event
	Alarms []Alarm
	Alarm  AlarmKind // the most severe
}

// ErrOrder is the error for a check or an event that lies before one already taken in.
var ErrOrder = errors.New("times out of order")

// Tracker follows a machine, check by check. The zero value is not ready; use New.
type Tracker struct {
	axes   [2]*axis
	began  time.Time
	last   time.Time
	checks int // in all
	here   int // since the last event
	since  time.Time
	limit  float64
	hours  hours
	warmth temperatures

	lastCheckAt time.Time
	changed     time.Time // when the last event that ended a segment was
	gaps        gaps
	covered     float64 // days that the checks since then cover

	drawn    *futures // as last drawn, and how far they were followed
	drawnFor float64
	draws    int // how many are drawn; 0: the usual number

	Plan Plan // of the interval between checks
}

// New makes a tracker that has seen nothing.
func New() *Tracker {
	return &Tracker{axes: [2]*axis{{name: Axes[0]}, {name: Axes[1]}}}
}

func (t *Tracker) arrive(at time.Time) error {
	if t.last.IsZero() {
		t.began = at
	}
	if at.Before(t.last) {
		return fmt.Errorf("%w: %s comes after %s", ErrOrder, at.Format(time.RFC3339), t.last.Format(time.RFC3339))
	}
	t.last, t.drawn = at, nil
	return nil
}

// Event takes in what happened to the machine. A kind that ends a segment starts everything again, except the knowledge
// of the scatter between checks.
func (t *Tracker) Event(e Event) error {
	if err := t.noteEvent(e); err != nil {
		return err
	}
	for _, a := range t.axes {
		a.event(e)
	}
	return nil
}

func (t *Tracker) noteEvent(e Event) error {
	if err := t.arrive(e.Time); err != nil {
		return err
	}
	if e.Kind == HoursEvent {
		t.hours.add(days(e.Time.Sub(t.began)), e.Hours)
	}
	if e.EndsSegment() {
		t.here, t.changed, t.covered = 0, e.Time, 0
	}
	return nil
}

// Check takes in a check and says what it means. Values that are not finite are refused.
func (t *Tracker) Check(c Check) (Row, error) {
	met, err := t.noteCheck(&c)
	if err != nil {
		return Row{}, err
	}
	row := Row{Time: c.Time}
	for i, a := range t.axes {
		var alarms []Alarm
		row.Axis[i], alarms = a.check(&c, i, t.began, &met, new(Lean))
		row.Alarms = append(row.Alarms, alarms...)
	}
	row.Alarm = worst(row.Alarms)
	return row, nil
}

// circumstances are what is known of the machine when a check comes in.
type circumstances struct {
	used usage
	warm warm
	air  climate
}

func (t *Tracker) noteCheck(c *Check) (circumstances, error) {
	for i, v := range c.Axis {
		if v != nil && (!finite(v.MMPerM) || math.IsInf(v.U, 0) || v.U < 0) {
			return circumstances{}, fmt.Errorf("%s: %v mm/m with uncertainty %v is not a measurement", Axes[i],
				v.MMPerM, v.U)
		}
	}
	if c.TemperatureC != nil {
		if err := JudgeTemperature(*c.TemperatureC); err != nil {
			return circumstances{}, err
		}
	}
	before := t.lastCheckAt
	if err := t.arrive(c.Time); err != nil {
		return circumstances{}, err
	}
	t.lastCheckAt = c.Time
	if t.here > 0 {
		t.cover(days(c.Time.Sub(before)))
	}
	if t.checks++; t.here == 0 {
		t.since = c.Time
	}
	t.here++
	t.limit = c.Limit
	at := days(c.Time.Sub(t.began))
	t.hours.add(at, c.SpindleHours)
	out := circumstances{used: t.hours.now(at)}
	out.warm, out.air = t.warmth.now(at, c.TemperatureC)
	return out, nil
}

func (a *axis) event(e Event) {
	if e.EndsSegment() {
		a.restart()
	}
}

// check takes in this axis of a check of the record that began at a moment. What is believed then is put where out
// points, and out is given back; nil where nothing is.
func (a *axis) check(c *Check, i int, began time.Time, met *circumstances, out *Lean) (*Lean, []Alarm) {
	if v := c.Axis[i]; v != nil {
		u := v.U * student(c.DoF[i])
		if u == 0 {
			u = math.NaN()
		}
		a.air = met.air
		a.add(observation{at: c.Time, t: days(c.Time.Sub(began)), y: v.MMPerM, u: u, used: met.used, warm: met.warm},
			c.Limit)
	}
	if a.bank == nil {
		return nil, nil
	}
	*out = a.now
	return out, a.alarms()
}

// leastDoF keeps finite what so few degrees of freedom say of an uncertainty.
const leastDoF = 2.5

// student is by how much the standard deviation of what is known exceeds an uncertainty of so many degrees of freedom:
// that of Student's distribution (JCGM 101:2008, 6.4.9.4, from memory), so that a check counts by both.
func student(dof float64) float64 {
	if !(dof > 0) || math.IsInf(dof, 1) {
		return 1
	}
	dof = math.Max(dof, leastDoF)
	return math.Sqrt(dof / (dof - 2))
}

// Alarms are those that stand now, tilt before nod.
func (t *Tracker) Alarms() []Alarm {
	return append(t.axes[0].alarms(), t.axes[1].alarms()...)
}

// Last is when the last check or event was; zero when there was none.
func (t *Tracker) Last() time.Time { return t.last }

func days(d time.Duration) float64 { return d.Hours() / 24 }

func finite(x float64) bool { return !math.IsNaN(x) && !math.IsInf(x, 0) }
