package motion

import (
	"fmt"
	"strings"
	"time"
)

// What bars a retract: what a controller does next that refuses, is out of step or cannot be heard, is not known.
const (
	inTrouble  = "the controller is in trouble or out of step"
	brokenLine = "the line to the controller broke"
)

// stop has the arm stopped. bars says why it may not be retracted after that; "" leaves it to the controller's answer.
// What goes wrong after a stop can only bar the retract, or stop one that has begun.
func (m *Machine) stop(now time.Duration, why, bars string) []Act {
	if m.bars == "" {
		m.bars = bars
	}
	switch {
	case m.busy():
		m.why = why
		if m.phase == finishing {
			m.why = "every reading was taken, but the way back was not finished: " + why
		}
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

// stopped takes what the controller says after the stop command. What could be the acknowledgement of a command from
// before is no word that it stands. Where nothing may follow the stop, that word ends the program.
func (m *Machine) stopped(now time.Duration, text string) []Act {
	if m.p.Stopped == nil || m.p.Done.MatchString(text) || !m.p.Stopped.MatchString(text) {
		return nil
	}
	if len(m.p.Retract) == 0 || m.bars != "" {
		m.enter(ended, now)
		return []Act{{End: true, Why: m.end(), Asked: m.asking}}
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

// Stage is how far a program is.
type Stage uint8

// Stages. The axis may move in all of them but Done.
const (
	Measuring Stage = iota // from station to station
	Returning              // every station is taken; the commands of the end are under way
	Stopping               // the stop command was sent; a retract may follow
	Done                   // the arm stands, or nothing more can be done about it
)

// Stage says how far the program is.
func (m *Machine) Stage() Stage {
	switch m.phase {
	case finishing:
		return Returning
	case stopping, retracting:
		return Stopping
	case ended:
		return Done
	}
	return Measuring
}

// Say describes in a sentence what moves.
func (m *Machine) Say() string {
	switch m.phase {
	case notBegun, opening, preparing:
		return "The motion controller is being made ready. Keep clear."
	case moving:
		return fmt.Sprintf("A motor moves to %s (%d of %d). Keep clear.", m.p.Axis.Text(m.p.Targets[m.at]), m.at+1,
			len(m.p.Targets))
	case dwelling, settling:
		return fmt.Sprintf("Waiting for the reading at %s (%d of %d). Keep clear: it moves on by itself.",
			m.p.Axis.Text(m.p.Targets[m.at]), m.at+1, len(m.p.Targets))
	case finishing:
		return "Every reading is taken. A motor moves back: keep clear until it stands."
	case stopping:
		return "The motion is being stopped: " + m.why
	case retracting:
		return "A retract moves away; keep clear. It was stopped: " + m.why
	}
	return ""
}
