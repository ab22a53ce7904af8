package alarm

import (
	"fmt"
	"time"

	"tramd/cmd/tramd/internal/session"
)

// Alarm is one thing that is wrong now.
type Alarm struct {
	Kind     string        `json:"kind"`     // shift | trend | outside | device | store | clock | due | chore
	About    string        `json:"about"`    // the axis, the device or the chore; empty where the kind says it all
	Severity string        `json:"severity"` // critical | warning | info
	Since    time.Time     `json:"since"`
	Text     string        `json:"text"`
	After    time.Duration `json:"-"` // it must have stood so long before anybody is told
}

// How long something must last before anybody is told: the same times as in dashboards/rules.
const (
	deviceAfter = 5 * time.Minute
	clockAfter  = 30 * time.Minute
	storeAfter  = 2 * time.Minute
)

// Standing lists what is wrong in a snapshot.
func Standing(s *session.Snapshot) []Alarm {
	var out []Alarm
	if s.Drift != nil {
		for _, a := range s.Drift.Alarms {
			out = append(out, Alarm{Kind: a.Kind, About: a.Axis, Severity: "warning", Since: a.Since, Text: a.Text})
		}
	}
	if s.NextCheck != nil && s.Clock.Set && s.At.After(*s.NextCheck) {
		out = append(out, Alarm{Kind: "due", Severity: "info", Since: *s.NextCheck, Text: "the next check is due: sweep the spindle again"})
	}
	for _, d := range s.Devices {
		if d.State != "live" {
			since := s.At.Add(-time.Duration(d.SinceS * float64(time.Second)))
			what := "its port is " + d.State
			if d.State == session.StateSilent {
				what = "its port is open"
			}
			out = append(out, Alarm{Kind: "device", About: d.Name, Severity: "warning", Since: since, After: deviceAfter,
				Text: fmt.Sprintf("%s sends nothing: %s; look at cable, battery and adapter", d.Name, what)})
		}
	}
	if !s.Store.OK {
		out = append(out, Alarm{Kind: "store", Severity: "critical", Since: s.At, After: storeAfter,
			Text: "readings cannot be written and wait in memory: " + s.Store.Error})
	}
	if !s.Clock.Set {
		out = append(out, Alarm{Kind: "clock", Severity: "warning", Since: s.At, After: clockAfter,
			Text: "the computer's clock has not been set: what is measured now cannot be dated"})
	}
	for _, kind := range session.TroubleKinds {
		if why := s.Troubles[kind]; why != "" {
			severity := "warning"
			if kind == "record" {
				severity = "critical"
			}
			out = append(out, Alarm{Kind: "chore", About: kind, Severity: severity, Since: s.At, Text: why})
		}
	}
	return out
}

type key struct{ kind, about string }

func (a Alarm) key() key { return key{a.Kind, a.About} }
