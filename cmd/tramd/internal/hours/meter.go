package hours

import (
	"fmt"
	"math"
	"time"
)

// Meter is the spindle's hours. It is for one goroutine.
type Meter struct {
	step float64 // hours of one count of the counter

	hours   float64 // NaN: not known
	counter float64 // its latest reading that was believed; NaN: none
	at      time.Duration
	timed   bool    // at is of this meter's life
	room    float64 // hours by which the counter may go ahead of the time

	doubt   float64 // a reading that may be another counter's
	doubtAt time.Duration
	doubts  int // how many in a row bear it out; 0: there is none
}

// Shares of a counter's pace and steps that are not held against it.
const (
	pace  = 1.02 // its clock against ours
	slack = 0.05 // hours
	bears = 3    // readings in a row that make another counter of it
	long  = 24   // hours; a counter that adds more at once must show it in several readings
)

// New makes a meter that goes on from what was kept; nil: nothing was. step is the hours of one count of the machine's
// counter; 0 where none is read.
func New(hours, counter *float64, step float64) *Meter {
	m := &Meter{step: step, hours: math.NaN(), counter: math.NaN()}
	if hours != nil {
		m.hours = *hours
	}
	if counter != nil {
		m.counter = *counter
	}
	m.room = m.most()
	return m
}

func (m *Meter) most() float64 { return slack + 2*m.step }

// Hours gives the hours, and whether they are known.
func (m *Meter) Hours() (float64, bool) { return m.hours, !math.IsNaN(m.hours) }

// Counter returns the counter's latest reading that was believed; nil: none was.
func (m *Meter) Counter() *float64 {
	if math.IsNaN(m.counter) {
		return nil
	}
	c := m.counter
	return &c
}

// Ran takes the time for which a running signal was on. Hours that were not known begin with it.
func (m *Meter) Ran(d time.Duration) {
	if math.IsNaN(m.hours) {
		m.hours = 0
	}
	m.hours += max(0, d).Hours()
}

// Type takes what a person says the hours are. A counter goes on from there.
func (m *Meter) Type(hours float64) { m.hours = hours }

// Read takes a reading of the machine's counter, in hours, at a moment on the steady clock. It says what was noticed,
// "" if nothing.
func (m *Meter) Read(at time.Duration, x float64) string {
	switch {
	case !(x >= 0) || math.IsInf(x, 0):
		return ""
	case math.IsNaN(m.counter):
		return m.first(at, x)
	case m.follows(at, x):
		m.take(at, x)
		return ""
	}
	lag := at - m.doubtAt
	if m.doubts == 0 || x < m.doubt || x-m.doubt > lag.Hours()*pace+m.most() {
		m.doubts = 0
	}
	m.doubt, m.doubtAt = x, at
	if m.doubts++; m.doubts < bears {
		return ""
	}
	was := m.counter
	if x > was && !m.timed { // it ran unseen
		m.take(at, x)
		return fmt.Sprintf("the spindle's counter has gone from %.1f to %.1f h while it was not read", was, x)
	}
	m.begin(at, x)
	if x < was {
		m.room = m.most()
		return fmt.Sprintf(
			"the spindle's counter went back from %.1f to %.1f h, so it is another one; the hours go on from %.1f", was,
			x, m.hours)
	}
	return fmt.Sprintf(
		"the spindle's counter went from %.1f to %.1f h, more than the time that passed, so it is another one or its scale is wrong; the hours go on from %.1f",
		was, x, m.hours)
}

// first takes the first reading ever. What a person typed before stands where the counter shows less.
func (m *Meter) first(at time.Duration, x float64) string {
	said := ""
	switch {
	case math.IsNaN(m.hours) || x >= m.hours:
		m.hours = x
	default:
		said = fmt.Sprintf(
			"the spindle's counter shows %.1f h, less than the %.1f h that were known; the hours go on from those",
			x, m.hours)
	}
	m.begin(at, x)
	m.room = m.most()
	return said
}

// follows reports whether the counter can have come to a reading since the one before. Steps that are ahead of the time
// use up the room for them, which only time gives back.
func (m *Meter) follows(at time.Duration, x float64) bool {
	step := x - m.counter
	if !m.timed {
		return step >= 0 && step <= long
	}
	return step >= 0 && step <= m.roomAt(at)
}

func (m *Meter) roomAt(at time.Duration) float64 {
	return m.room + max(0, at-m.at).Hours()*pace
}

func (m *Meter) take(at time.Duration, x float64) {
	step := x - m.counter
	if m.timed {
		m.room = min(m.most(), m.roomAt(at)-step)
	}
	if math.IsNaN(m.hours) {
		m.hours = m.counter
	}
	m.hours += step
	m.counter, m.at, m.timed, m.doubts = x, at, true, 0
}

// begin has the hours go on by what the counter adds from here, and no faster than the time: one that was ahead of it
// may be so again.
func (m *Meter) begin(at time.Duration, x float64) {
	m.counter, m.at, m.timed, m.doubts, m.room = x, at, true, 0, 0
}
