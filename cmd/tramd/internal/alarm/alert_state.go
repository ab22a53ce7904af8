package alarm

import (
	"sort"
	"time"
)

// clearAfter keeps a loose cable from telling of itself each minute: an alarm has gone when it stayed away so long.
const clearAfter = time.Minute

// Message says that an alarm began, or that it is over.
type Message struct {
	Machine string     `json:"machine"`
	State   string     `json:"state"` // raised | cleared
	Alarm              // kind, about, severity, since, text
	Until   *time.Time `json:"until,omitempty"`
	Page    string     `json:"page,omitempty"`    // of the machine
	Runbook string     `json:"runbook,omitempty"` // what to do about it
}

// entry is one alarm as the state knows it.
type entry struct {
	Alarm Alarm `json:"alarm"`
	Sent  bool  `json:"told"` // its message was sent
	first time.Time
	seen  time.Time
}

// alertState remembers for which alarms a message was sent. It is pure: the caller passes the time.
type alertState struct {
	machine string
	open    map[key]*entry
}

func newAlertState(machine string, sent []entry, now time.Time) *alertState {
	b := &alertState{machine: machine, open: map[key]*entry{}}
	for _, e := range sent {
		e.first, e.seen = now, now // what stood when the program ended has clearAfter to show itself again
		b.open[e.Alarm.key()] = &e
	}
	return b
}

// update takes the alarms that stand now and returns the messages to send, the oldest first.
func (b *alertState) update(now time.Time, standing []Alarm) []Message {
	var out []Message
	for _, a := range standing {
		e := b.open[a.key()]
		if e == nil {
			e = &entry{first: now}
			b.open[a.key()] = e
		}
		e.seen = now
		if e.Sent { // keep the beginning and the words that were sent
			continue
		}
		a.Since = earlier(a.Since, e.Alarm.Since)
		e.Alarm = a
		if now.Sub(e.first) >= a.After || now.Sub(a.Since) >= a.After {
			e.Sent = true
			out = append(out, Message{Machine: b.machine, State: "raised", Alarm: a})
		}
	}
	for k, e := range b.open {
		switch {
		case e.seen.Equal(now):
		case !e.Sent:
			delete(b.open, k)
		case now.Sub(e.seen) >= clearAfter:
			until := e.seen
			m := Message{Machine: b.machine, State: "cleared", Alarm: e.Alarm, Until: &until}
			m.Text = e.Alarm.over(until)
			out = append(out, m)
			delete(b.open, k)
		}
	}
	sort.SliceStable(out, func(i, j int) bool { return out[i].Since.Before(out[j].Since) })
	return out
}

// sent returns the alarms whose message was sent, in a fixed order.
func (b *alertState) sent() []entry {
	var out []entry
	for _, e := range b.open {
		if e.Sent {
			out = append(out, *e)
		}
	}
	sort.Slice(out, func(i, j int) bool {
		a, b := out[i].Alarm, out[j].Alarm
		if a.Kind != b.Kind {
			return a.Kind < b.Kind
		}
		if a.Name != b.Name {
			return a.Name < b.Name
		}
		return a.About < b.About
	})
	return out
}

func earlier(a, b time.Time) time.Time {
	if b.IsZero() || a.Before(b) {
		return a
	}
	return b
}
