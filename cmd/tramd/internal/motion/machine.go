package motion

import (
	"fmt"
	"math"
	"strings"
	"time"
)

// Machine decides what a program does next. Times are on one steady clock that also runs while the computer sleeps,
// from any origin. It is for one goroutine and touches nothing outside.
type Machine struct {
	p       Program
	phase   phase
	queue   []string // commands of the present phase that are not sent yet
	asked   string   // the command that waits for its acknowledgement; empty = none
	due     time.Duration
	at      int           // the target that is gone to or stood at
	began   time.Duration // of the present phase
	there   time.Duration // when the arm can be at its target at the feed, and no sooner
	turned  float64       // how far the moves before the present one went
	watches []watch       // by indicator
	seen    time.Duration // of the latest event
	deaf    bool          // nothing can be heard from the controller any more
	why     string
	asking  bool   // somebody or something outside asked for the stop
	bars    string // why nothing may be sent after the stop, where a retract is configured; empty: nothing yet
}

type phase uint8

const (
	notBegun phase = iota
	opening        // the controller may still be starting
	preparing
	moving
	dwelling
	settling
	finishing // the commands of the end
	stopping
	retracting // only where it is configured, and the controller has said that it stands
	ended
)

// Act is one thing to be done.
type Act struct {
	Send   string // to be written to the line, its end included
	Arrive bool   // the arm stands at station Station: readings count from now
	End    bool   // the program is over
	Why    string // of End; empty: as it should be
	Asked  bool   // of End: the stop was asked for, rather than found necessary

	Station int
}

// Times and shares of the decision.
const (
	// soonest is the share of a move's time, in percent, before which the arm cannot be there: a controller may be set
	// to go up to twice the commanded feed (feed override, common practice, no source).
	soonest = 40

	// stopFor is how long the machine waits, at the least, for the controller to say that it has stopped.
	stopFor = 1500 * time.Millisecond

	// longestGap is how long nothing at all may be looked at. A busy small computer is seen to stall for 0.1 s.
	longestGap = 500 * time.Millisecond
)

// NewMachine begins nothing yet. The program must have passed its Check.
func NewMachine(p Program) *Machine {
	return &Machine{p: p, watches: make([]watch, len(p.Indicators))}
}

// Start begins, the line just having been opened.
func (m *Machine) Start(now time.Duration) []Act {
	if m.phase != notBegun {
		return nil
	}
	m.enter(opening, now)
	m.seen = now
	for i := range m.watches {
		m.watches[i].heard = now
	}
	return m.Tick(now)
}

func (m *Machine) enter(p phase, now time.Duration) { m.phase, m.began = p, now }

// Over reports whether nothing more will come.
func (m *Machine) Over() bool { return m.phase == ended }

// busy reports whether the arm may be moving, or about to.
func (m *Machine) busy() bool { return m.phase > notBegun && m.phase < stopping }

// gap stops the arm where nothing was looked at for too long. It is asked first at every event, whichever comes first
// after the computer wakes: otherwise an acknowledgement that waited would be answered by the next move.
func (m *Machine) gap(now time.Duration) []Act {
	d := now - m.seen
	m.seen = now
	if d <= longestGap || m.phase == notBegun {
		return nil
	}
	return m.stop(
		now, fmt.Sprintf("this computer stood still for %.1f s (asleep or overloaded), so nothing watched the motion",
			d.Seconds()),
		"the computer stood still")
}

// Line takes a line from the controller.
func (m *Machine) Line(now time.Duration, text string) []Act {
	if acts := m.gap(now); acts != nil {
		return acts
	}
	text = strings.TrimSpace(text)
	switch {
	case text == "" || m.deaf || m.phase == opening || m.phase == notBegun || m.phase == ended:
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
		return m.stop(now, fmt.Sprintf("the controller acknowledged (%q) when nothing was asked: it is out of step",
			text), inTrouble)
	}
	if m.phase == moving && len(m.queue) == 0 && m.at > 0 && now-m.began < m.p.moveTime(m.distance())*soonest/100 {
		return m.stop(now, fmt.Sprintf(
			"the controller acknowledged %q sooner than the move takes: it is out of step, or does not keep to the feed", m.asked), inTrouble)
	}
	m.asked = ""
	return m.next(now)
}

// Readings takes what an indicator read since the last time.
func (m *Machine) Readings(now time.Duration, indicator int, r Readings) []Act {
	if acts := m.gap(now); acts != nil {
		return acts
	}
	if indicator < 0 || indicator >= len(m.watches) || r.N <= 0 {
		return nil
	}
	ind := m.p.Indicators[indicator]
	m.watches[indicator].take(now, r, m.travelled(now))
	if !m.busy() {
		return nil
	}
	if mm, out := ind.outside(r); out {
		return m.stop(now, fmt.Sprintf("indicator %s reads %.3f mm, outside its travel of %v to %v mm", ind.Name, mm,
			ind.LowMM, ind.HighMM), "")
	}
	return nil
}

// Taken takes the news that the present station's reading was taken.
func (m *Machine) Taken(now time.Duration) []Act {
	if acts := m.gap(now); acts != nil || m.phase != settling {
		return acts
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
	return m.call(now, why, true, "a stop was asked for")
}

// Barred takes the news that the arm may not be moved any more: somebody else may be at the machine, or, where asked is
// set, a person or the end of an arming wants it so.
func (m *Machine) Barred(now time.Duration, why string, asked bool) []Act {
	if asked {
		return m.Stop(now, why)
	}
	return m.call(now, why, false, "the machine may be in use")
}

// call ends the program for a reason from outside.
func (m *Machine) call(now time.Duration, why string, asked bool, bars string) []Act {
	m.seen = now
	if m.phase == notBegun {
		m.enter(ended, now)
		return []Act{{End: true, Why: why, Asked: asked}}
	}
	if m.busy() {
		m.asking = asked
	}
	return m.stop(now, why, bars)
}

// Lost says that nothing more can be heard from the controller. The stop command is tried all the same: a line may be
// broken one way only.
func (m *Machine) Lost(now time.Duration, err error) []Act {
	m.seen = now
	switch m.phase {
	case notBegun, ended:
		return m.call(now, fmt.Sprintf("the line to the motion controller broke (%v) before anything was sent", err),
			false, "")
	case stopping:
		m.deaf = true
		return m.Tick(now)
	}
	acts := m.stop(now, fmt.Sprintf("the line from the motion controller broke (%v)", err), brokenLine)
	m.deaf = true
	return acts
}

// Unsent says that a command could not be written. The stop command is tried once after any other, behind a line end of
// its own, since half a command may have gone out.
func (m *Machine) Unsent(now time.Duration, err error) []Act {
	m.seen = now
	if m.phase == stopping {
		m.enter(ended, now)
		return []Act{{End: true, Why: fmt.Sprintf(
			"%s; the stop command could not be sent (%v): use the machine's own stop", m.why, err), Asked: m.asking}}
	}
	acts := m.stop(now, fmt.Sprintf("%q could not be sent to the motion controller (%v)", m.asked, err), brokenLine)
	for i := range acts {
		acts[i].Send = m.p.LineEnd + acts[i].Send
	}
	return acts
}

// Tick looks at the time.
func (m *Machine) Tick(now time.Duration) []Act {
	if acts := m.gap(now); acts != nil {
		return acts
	}
	if m.busy() {
		for i, w := range m.watches {
			ind := m.p.Indicators[i]
			if now-w.heard > m.p.Silent {
				return m.stop(now, fmt.Sprintf("indicator %s has said nothing for %.1f s", ind.Name,
					(now-w.heard).Seconds()), "")
			}
			if deg := m.travelled(now) - w.since; ind.frozen(w, deg, m.p.moveTime(deg)) {
				return m.stop(now, fmt.Sprintf(
					"indicator %s has read %.3f mm without a change over %s of motion: it does not follow the surface, or its readings are repeated by something on the way", ind.Name, w.mm, m.p.Axis.Text(math.Round(deg))), "")
			}
		}
	}
	switch {
	case m.phase == opening && now-m.began >= m.p.Open:
		m.enter(preparing, now)
		m.queue = m.filled(m.p.Begin, m.p.Targets[0])
		return m.next(now)
	case m.phase == stopping && m.deaf:
		m.enter(ended, now)
		return []Act{{End: true, Why: m.end() +
			"; the stop command was sent, but nothing more can be heard from the controller: use the machine's own stop", Asked: m.asking}}
	case m.phase == stopping && now-m.began >= m.stopFor():
		m.enter(ended, now)
		return []Act{{End: true, Why: m.end(), Asked: m.asking}}
	case m.asked != "" && now > m.due:
		return m.stop(now, fmt.Sprintf("no acknowledgement of %q came in its time", m.asked),
			"the controller does not acknowledge in time")
	case m.phase == dwelling && now-m.began >= m.p.Dwell && now >= m.there:
		// Not before the arm can be there at the commanded feed, whatever was acknowledged: where that was an
		// acknowledgement too many, the true one comes in this time and shows it.
		m.enter(settling, now)
		return []Act{{Arrive: true, Station: m.at}}
	case m.phase == settling && now-m.began > m.p.Settle:
		return m.stop(now, fmt.Sprintf("the reading at %s did not settle in %.0f s", m.p.Axis.Text(m.p.Targets[m.at]),
			m.p.Settle.Seconds()), "")
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
		if m.phase == finishing { // the way home is not known: as long as the whole travel may take
			m.due += m.p.moveTime(m.p.High-m.p.Low) * 3 / 2
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
		m.turned = m.travelled(now)
		m.enter(dwelling, now)
		return m.Tick(now)
	case finishing:
		m.enter(ended, now)
		return []Act{{End: true}}
	case retracting:
		m.enter(ended, now)
		return []Act{{End: true, Why: m.why + "; then it was retracted", Asked: m.asking}}
	}
	return nil
}

// distance is how far the present move is; where the arm stood at first is not known.
func (m *Machine) distance() float64 {
	if m.at == 0 {
		return m.p.High - m.p.Low
	}
	return m.p.Targets[m.at] - m.p.Targets[m.at-1]
}

// travelled is how far the axis went from station to station, at the commanded feed. The first move counts nothing,
// since where it began is not known.
func (m *Machine) travelled(now time.Duration) float64 {
	if m.phase != moving || m.at == 0 {
		return m.turned
	}
	whole := m.p.moveTime(m.distance())
	return m.turned + m.p.turnedIn(min(whole, now-m.began))
}

func (m *Machine) goTo(now time.Duration) []Act {
	m.enter(moving, now)
	m.there = now
	if m.at > 0 {
		m.there += m.p.moveTime(m.distance())
	}
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
