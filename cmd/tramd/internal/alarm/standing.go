package alarm

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"tramd/cmd/tramd/internal/api"
	"tramd/sweep"
)

// Alarm is one thing that is wrong now.
type Alarm struct {
	// shift | trend | outside | again | due | overdue | device | store | clock | chore
	Kind string `json:"kind"`
	// the axis, the device or the chore; empty where the kind says it all
	About string `json:"about"`
	// of the measurement of the assembly; empty: the machine's lean, or no measurement
	Name     string        `json:"name,omitempty"`
	Measured string        `json:"measurement,omitempty"` // traverse | bar | travel | cross
	Severity string        `json:"severity"`              // critical | warning | info
	Since    time.Time     `json:"since"`
	Text     string        `json:"text"`
	After    time.Duration `json:"-"` // how long it must have stood before a message goes out
}

// These are the times that a trouble must last before a message goes out. They are the same as in dashboards/rules.
const (
	deviceAfter = 5 * time.Minute
	clockAfter  = 30 * time.Minute
	storeAfter  = 2 * time.Minute
	dueAfter    = 10 * time.Minute

	uncheckedFor = 14 * 24 * time.Hour // a machine that was never checked is overdue
)

// Standing lists what is wrong in a snapshot.
func Standing(s *api.Snapshot) []Alarm {
	var out []Alarm
	if s.Drift != nil {
		for _, a := range s.Drift.Alarms {
			out = append(out, Alarm{Kind: a.Kind, About: a.Axis, Severity: "warning", Since: a.Since, Text: a.Text})
			if _, again := s.Last.Found(a); a.Kind == "outside" && again {
				out = append(out, Alarm{Kind: "again", About: a.Axis, Severity: "critical", Since: a.Since,
					Text: a.Text +
						", found by more than one check: take the machine out of work until its spindle has been squared again"})
			}
		}
	}
	for i := range s.Assembly {
		out = append(out, assembled(&s.Assembly[i], s)...)
	}
	out = append(out, heldBack(s, out)...)
	out = append(out, due(s)...)
	for _, d := range s.Devices {
		if d.State != "live" {
			since := s.At.Add(-time.Duration(d.SinceS * float64(time.Second)))
			what := "its port is " + d.State
			if d.State == api.StateSilent {
				what = "its port is open"
			}
			out = append(out, Alarm{Kind: "device", About: d.Name, Severity: "warning", Since: since,
				After: deviceAfter,
				Text:  fmt.Sprintf("%s sends nothing: %s; look at cable, battery and adapter", d.Name, what)})
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
	for _, kind := range api.TroubleKinds {
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

// assembled lists what is wrong with a measurement of the assembly. Its check is overdue a week after it was due, as in
// dashboards/rules.
func assembled(x *api.StandingState, s *api.Snapshot) (out []Alarm) {
	const week = 7 * 24 * time.Hour
	about := func(kind, axis string, since time.Time, text string) {
		out = append(out, Alarm{Kind: kind, About: axis, Name: x.Name, Measured: x.Kind, Severity: "warning",
			Since: since,
			Text:  fmt.Sprintf("%s %s: %s", strings.ReplaceAll(x.Kind, "_", "-"), x.Name, text)})
	}
	for _, a := range x.Alarms {
		about(a.Kind, a.Axis, a.Since, a.Text)
	}
	if n := x.NextCheck; n != nil && s.Clock.Set && s.At.Sub(*n) > week {
		about("overdue", "", n.Add(week), fmt.Sprintf("its check has been due since %s: measure it again", minute(*n)))
	}
	return out
}

// heldBack says that a check was outside that is not stored, and so not in the history that the other alarms come from.
func heldBack(s *api.Snapshot, known []Alarm) (out []Alarm) {
	x := s.HeldBack()
	if x == nil || x.Purpose != "check" {
		return nil
	}
	for name, axis := range map[string]*sweep.Axis{"tilt": x.Result.Tilt, "nod": x.Result.Nod} {
		a := Alarm{Kind: "outside", About: name, Severity: "warning", Since: x.At}
		if axis == nil || axis.Verdict != sweep.Outside ||
			slices.ContainsFunc(known, func(k Alarm) bool { return k.key() == a.key() }) {
			continue
		}
		a.Text = fmt.Sprintf(
			"%s was outside its tolerance in run %d: %+.4f ± %.4f mm/m, the limit is %.4f; this run is not stored yet",
			name, x.Run, axis.Slope.MMPerM(), axis.Expanded.MMPerM(), s.Limit)
		out = append(out, a)
	}
	return out
}

// due says that the next check is due, and that it is overdue: by two intervals, or by a fortnight where nothing was
// checked yet.
func due(s *api.Snapshot) []Alarm {
	if s.NextCheck == nil || !s.Clock.Set || !s.At.After(*s.NextCheck) {
		return nil
	}
	next := *s.NextCheck
	since := next.UTC().Format("2006-01-02 15:04 UTC")
	out := []Alarm{{Kind: "due", Severity: "info", Since: next, After: dueAfter,
		Text: fmt.Sprintf("the next check has been due since %s (%s): sweep the spindle again", since, s.NextWhy)}}
	bears := uncheckedFor
	if s.Last != nil {
		bears = 2 * max(next.Sub(s.Last.At), 24*time.Hour)
	}
	if s.At.Sub(next) > bears {
		out = append(out, Alarm{Kind: "overdue", Severity: "warning", Since: next.Add(bears),
			Text: fmt.Sprintf(
				"the check that was due at %s is overdue by more than two intervals: nothing says that the machine still holds its tolerance", since)})
	}
	return out
}

type key struct{ kind, about, name, measured string }

func (a Alarm) key() key { return key{a.Kind, a.About, a.Name, a.Measured} }
