package motion

import (
	"fmt"
	"strings"
	"time"
)

// Machine decides what a program does next. Times are on one steady clock, from any origin. It is for one goroutine and
// touches nothing outside.
type Machine struct {
	p     Program
	phase phase
	queue []string // commands of the present phase that are not sent yet
	asked string   // the command that waits for its acknowledgement; empty = none
	due   time.Duration
	at    int           // the target that is gone to or stood at
	began time.Duration // of the present phase
	heard []time.Duration
	why   string
	bars  string // why nothing may be sent after the stop, where a retract is configured; empty: nothing yet
}

type phase uint8

const (
	notBegun phase = iota
	opening        // the controller may still be starting
	preparing
	moving
	dwelling
	settling
	finishing
	stopping
	retracting // only where it is configured, and the controller has said that it stands
	ended
)

// Act is one thing to be done.
type Act struct {
	Send   string // to be written to the line, its end included
	Arrive bool   // the arm stands at station Station: readings count from now
	End    bool   // the program is over
	Why    string // empty: as it should be

	Station int
}

// soonest is the share of a move's time, in percent, before which the arm cannot be there: a controller may be set to go
// up to twice as fast as it is told (feed override, common practice, no source).
const soonest = 40

// stopFor is how long the machine waits, at the least, for the controller to say that it has stopped.
const stopFor = 1500 * time.Millisecond

// NewMachine begins nothing yet. The program must have passed its Check.
func NewMachine(p Program) *Machine {
	return &Machine{p: p, heard: make([]time.Duration, len(p.Indicators))}
}

// Start begins, the line just having been opened.
func (m *Machine) Start(now time.Duration) []Act {
	if m.phase != notBegun {
		return nil
	}
	m.enter(opening, now)
	for i := range m.heard {
		m.heard[i] = now
	}
	return m.Tick(now)
}

func (m *Machine) enter(p phase, now time.Duration) { m.phase, m.began = p, now }

// Over says whether nothing more will come.
func (m *Machine) Over() bool { return m.phase == ended }

// busy says whether the arm may be moving, or about to.
func (m *Machine) busy() bool { return m.phase > notBegun && m.phase < stopping }

// Line takes a line from the controller.
func (m *Machine) Line(now time.Duration, text string) []Act {
	text = strings.TrimSpace(text)
	switch {
	case text == "" || m.phase == opening || m.phase == notBegun || m.phase == ended:
		return nil
	case m.p.Refused != nil && m.p.Refused.MatchString(text):
		if m.asked == "" {
			return m.stop(now, fmt.Sprintf("the controller says %q", text), inTrouble)
		}
		return m.stop(now, fmt.Sprintf("the controller refused %q: %q", m.asked, text), inTrouble)
	case m.phase == stopping:
		return m.stopped(now, text)
	case !m.p.Done.MatchString(text):
		return nil // a remark
	case m.asked == "":
		return m.stop(now, fmt.Sprintf("the controller acknowledged (%q) when nothing was asked: it is out of step", text), inTrouble)
	}
	if m.phase == moving && len(m.queue) == 0 && m.at > 0 && now-m.began < m.p.moveTime(m.distance())*soonest/100 {
		return m.stop(now, fmt.Sprintf("the controller acknowledged %q sooner than the arm can be there: it is out of step, or does not keep to the feed", m.asked), inTrouble)
	}
	m.asked = ""
	return m.next(now)
}

// Reading takes a reading of an indicator.
func (m *Machine) Reading(now time.Duration, indicator int, mm float64) []Act {
	if indicator < 0 || indicator >= len(m.heard) {
		return nil
	}
	m.heard[indicator] = now
	t := m.p.Indicators[indicator]
	if !m.busy() || t.Unlimited || mm >= t.LowMM && mm <= t.HighMM { // NaN is outside
		return nil
	}
	return m.stop(now, fmt.Sprintf("indicator %s reads %.3f mm, outside its travel of %v to %v mm", t.Name, mm, t.LowMM, t.HighMM), "")
}

// Taken takes the news that the present station's reading was taken.
func (m *Machine) Taken(now time.Duration) []Act {
	if m.phase != settling {
		return nil
	}
	if m.at++; m.at < len(m.p.Targets) {
		return m.goTo(now)
	}
	m.enter(finishing, now)
	m.queue = m.filled(m.p.End, m.p.Targets[m.at-1])
	return m.next(now)
}

// Stop ends the program at anybody's wish. Nothing moves after it, a retract neither.
func (m *Machine) Stop(now time.Duration, why string) []Act {
	if m.phase == notBegun {
		m.enter(ended, now)
		return []Act{{End: true, Why: why}}
	}
	return m.stop(now, why, "a stop was asked for")
}

// Unsafe takes the news that the machine no longer does nothing: somebody else may be at it.
func (m *Machine) Unsafe(now time.Duration, why string) []Act {
	if m.phase == notBegun {
		return m.Stop(now, why)
	}
	return m.stop(now, why, "the machine may be in use")
}

// Lost says that the line has broken: nothing can be sent any more.
func (m *Machine) Lost(now time.Duration, err error) []Act {
	switch m.phase {
	case ended:
		return nil
	case stopping, retracting:
		m.enter(ended, now)
		return []Act{{End: true, Why: m.why + "; the line to the controller broke then: use the machine's own stop"}}
	}
	m.enter(ended, now)
	return []Act{{End: true, Why: fmt.Sprintf("the line to the motion controller broke (%v) and the stop command could not be sent: use the machine's own stop", err)}}
}

// Tick looks at the time.
func (m *Machine) Tick(now time.Duration) []Act {
	if m.busy() {
		for i, t := range m.heard {
			if now-t > m.p.Silent {
				return m.stop(now, fmt.Sprintf("indicator %s has said nothing for %.1f s", m.p.Indicators[i].Name, (now-t).Seconds()), "")
			}
		}
	}
	switch {
	case m.phase == opening && now-m.began >= m.p.Open:
		m.enter(preparing, now)
		m.queue = m.filled(m.p.Begin, m.p.Targets[0])
		return m.next(now)
	case m.phase == stopping && now-m.began >= m.stopFor():
		m.enter(ended, now)
		return []Act{{End: true, Why: m.end()}}
	case m.asked != "" && now > m.due:
		return m.stop(now, fmt.Sprintf("no acknowledgement of %q came in its time", m.asked), "the controller does not acknowledge in time")
	case m.phase == dwelling && now-m.began >= m.p.Dwell:
		m.enter(settling, now)
		return []Act{{Arrive: true, Station: m.at}}
	case m.phase == settling && now-m.began > m.p.Settle:
		return m.stop(now, fmt.Sprintf("the reading at %v degrees did not settle in %.0f s", m.p.Targets[m.at], m.p.Settle.Seconds()), "")
	}
	return nil
}

// next sends the next command of the phase, or goes on to the phase after it.
func (m *Machine) next(now time.Duration) []Act {
	if len(m.queue) > 0 {
		m.asked, m.queue = m.queue[0], m.queue[1:]
		m.due = now + m.p.Ack
		if m.phase == moving { // whichever of the commands it is that waits for the arm
			m.due += m.p.moveTime(m.distance())*3/2 + m.p.Dwell
		}
		if m.phase == retracting {
			m.due += m.p.RetractTime
		}
		return []Act{{Send: m.asked + m.p.LineEnd}}
	}
	switch m.phase {
	case preparing:
		return m.goTo(now)
	case moving:
		m.enter(dwelling, now)
		return m.Tick(now)
	case finishing:
		m.enter(ended, now)
		return []Act{{End: true}}
	case retracting:
		m.enter(ended, now)
		return []Act{{End: true, Why: m.why + "; then it was retracted"}}
	}
	return nil
}

// distance is how far the present move is; where the arm stood at first is not known.
func (m *Machine) distance() float64 {
	if m.at == 0 {
		return m.p.HighDeg - m.p.LowDeg
	}
	return m.p.Targets[m.at] - m.p.Targets[m.at-1]
}

func (m *Machine) goTo(now time.Duration) []Act {
	m.enter(moving, now)
	m.queue = m.filled(m.p.Move, m.p.Targets[m.at])
	return m.next(now)
}

func (m *Machine) filled(templates []string, deg float64) []string {
	var out []string
	for _, t := range templates {
		text, _ := m.p.fill(t, deg) // checked
		out = append(out, text)
	}
	return out
}

// inTrouble bars a retract: what a controller does next that refuses, or is out of step, nobody knows.
const inTrouble = "the controller is in trouble or out of step"

// stop has the arm stopped. bars says why it may not be retracted after that; "" leaves it to the controller's answer. What
// goes wrong after a stop can only bar the retract, or stop one that has begun.
func (m *Machine) stop(now time.Duration, why, bars string) []Act {
	if m.bars == "" {
		m.bars = bars
	}
	switch {
	case m.busy():
		m.why = why
	case m.phase == retracting:
		m.why += "; the retract was stopped too: " + why
	default:
		return nil
	}
	m.asked, m.queue = "", nil
	m.enter(stopping, now)
	text, _ := m.p.fill(m.p.Stop, 0) // checked
	return []Act{{Send: text + m.p.LineEnd}}
}

// stopFor is how long the controller has to say that it has stopped.
func (m *Machine) stopFor() time.Duration {
	if len(m.p.Retract) > 0 && m.bars == "" {
		return max(stopFor, m.p.Ack)
	}
	return stopFor
}

// stopped takes what the controller says after the stop command. What could be the acknowledgement of a command from before
// is no word that it stands.
func (m *Machine) stopped(now time.Duration, text string) []Act {
	if len(m.p.Retract) == 0 || m.bars != "" || m.p.Done.MatchString(text) || !m.p.Stopped.MatchString(text) {
		return nil
	}
	m.bars = "it was retracted before" // once
	m.enter(retracting, now)
	m.queue = m.filled(m.p.Retract, 0)
	return m.next(now)
}

// end says why the program ended, and why it was not retracted where it is meant to be.
func (m *Machine) end() string {
	switch {
	case len(m.p.Retract) == 0, strings.Contains(m.why, "the retract was stopped"):
		return m.why
	case m.bars != "":
		return m.why + "; not retracted: " + m.bars
	}
	return m.why + "; not retracted: the controller did not say that it has stopped"
}

// Say tells a person what it does.
func (m *Machine) Say() string {
	switch m.phase {
	case notBegun, opening, preparing:
		return "The motion controller is being made ready. Keep clear."
	case moving:
		return fmt.Sprintf("The arm is moved to %v° (%d of %d). Keep clear.", m.p.Targets[m.at], m.at+1, len(m.p.Targets))
	case dwelling, settling:
		return fmt.Sprintf("Waiting for the reading at %v° (%d of %d). Keep clear: the arm moves on by itself.", m.p.Targets[m.at], m.at+1, len(m.p.Targets))
	case stopping:
		return "Stopping: " + m.why
	case retracting:
		return "Retracting; keep clear. It was stopped: " + m.why
	case finishing:
		return "The last station is taken."
	}
	return ""
}
