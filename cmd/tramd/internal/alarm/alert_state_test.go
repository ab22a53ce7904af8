package alarm

import (
	"maps"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"tramd/cmd/tramd/internal/api"
)

var noon = time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC)

func states(ms []Message) (out []string) {
	for _, m := range ms {
		out = append(out, m.Kind+" "+m.State)
	}
	return out
}

func TestToldOnceAndClearedOnce(t *testing.T) {
	b := newAlertState("linnet", nil, noon)
	a := []Alarm{{Kind: "shift", About: "tilt", Since: noon.Add(-time.Hour)}}
	if got := b.update(noon, a); len(got) != 1 || got[0].State != "raised" ||
		!got[0].Since.Equal(noon.Add(-time.Hour)) {
		t.Fatalf("got %v", got)
	}
	for s := range 20 {
		if got := b.update(noon.Add(time.Duration(s)*time.Minute), a); len(got) != 0 {
			t.Fatalf("sent again: %v", states(got))
		}
	}
	now := noon.Add(20 * time.Minute)
	if got := b.update(now, nil); len(got) != 1 || got[0].State != "cleared" {
		t.Fatalf("got %v", states(got))
	}
	if got := b.update(now.Add(time.Hour), nil); len(got) != 0 {
		t.Fatalf("cleared twice: %v", states(got))
	}
}

// A cable that comes and goes within a minute is one alarm, and one that is away for less than five minutes is none.
func TestALooseCable(t *testing.T) {
	b := newAlertState("linnet", nil, noon)
	lost := []Alarm{{Kind: "device", About: "arm", Since: noon, After: deviceAfter}}
	sent := 0
	for s := 0; s < 3600; s += 5 {
		var standing []Alarm
		if s < 200 || (s >= 600 && s%60 < 45) {
			standing = lost
			if s >= 600 {
				standing = []Alarm{{Kind: "device", About: "arm", Since: noon.Add(600 * time.Second),
					After: deviceAfter}}
			}
		}
		for _, m := range b.update(noon.Add(time.Duration(s)*time.Second), standing) {
			sent++
			if m.State != "raised" || s < 900 {
				t.Errorf("after %d s: %s", s, m.State)
			}
		}
	}
	if sent != 1 {
		t.Errorf("sent %d times", sent)
	}
}

func TestARestartTellsNothingTwice(t *testing.T) {
	path := filepath.Join(t.TempDir(), "a.alarms")
	b := newAlertState("linnet", nil, noon)
	a := []Alarm{{Kind: "outside", About: "nod", Since: noon}, {Kind: "clock", Since: noon, After: clockAfter}}
	if got := states(b.update(noon, a)); len(got) != 1 || got[0] != "outside raised" {
		t.Fatalf("got %v", got)
	}
	s := state{Sent: b.sent(), Waiting: map[string][]Message{}}
	if err := s.save(path); err != nil {
		t.Fatal(err)
	}
	got, err := load(path)
	if err != nil {
		t.Fatal(err)
	}
	later := noon.Add(time.Hour)
	b = newAlertState("linnet", got.Sent, later)
	if got := states(b.update(later, a[:1])); len(got) != 0 {
		t.Errorf("sent again after a restart: %v", got)
	}
	if got := states(b.update(later.Add(2*time.Minute), nil)); len(got) != 1 || got[0] != "outside cleared" {
		t.Errorf("got %v", got)
	}
}

// A measurement of the assembly has alarms of its own, under the names of its rules.
func TestStandingOfTheAssembly(t *testing.T) {
	next := noon.AddDate(0, 0, -10)
	s := &api.Snapshot{At: noon, Clock: api.ClockState{Set: true}, Store: api.StoreState{OK: true},
		Assembly: []api.StandingState{
			{Name: "left rail", Kind: "traverse", NextCheck: &next,
				Alarms: []api.Alarm{{Kind: "outside", Axis: "tilt", Since: noon.Add(-time.Hour),
					Text: "tilt is outside"}}},
			{Name: "shank", Kind: "bar",
				Alarms: []api.Alarm{{Kind: "outside", Axis: "tilt", Since: noon.Add(-time.Hour),
					Text: "tilt is outside"}}},
		}}
	got := Standing(s)
	if len(got) != 3 || got[0].key() == got[2].key() {
		t.Fatalf("got %+v", got)
	}
	for i, want := range []map[string]string{
		{"alertname": "TramdAssemblyAlarm", "machine": "linnet", "severity": "warning", "name": "left rail",
			"measurement": "traverse", "kind": "outside", "axis": "tilt"},
		{"alertname": "TramdAssemblyCheckOverdue", "machine": "linnet", "severity": "warning", "name": "left rail",
			"measurement": "traverse"},
		{"alertname": "TramdAssemblyAlarm", "machine": "linnet", "severity": "warning", "name": "shank",
			"measurement": "bar", "kind": "outside", "axis": "tilt"},
	} {
		if labels := alert("linnet", "", got[i], noon).Labels; !maps.Equal(labels, want) {
			t.Errorf("got  %v\nwant %v", labels, want)
		}
	}
	if text := got[0].over(noon); !strings.HasPrefix(text, "traverse left rail: tilt is back within its tolerance") {
		t.Errorf("when it is over: %q", text)
	}
	s.At = next.AddDate(0, 0, 6)
	if got := Standing(s); len(got) != 2 {
		t.Errorf("a check that is not a week late: %+v", got)
	}
}

func TestStanding(t *testing.T) {
	next := noon.Add(-time.Hour)
	s := &api.Snapshot{At: noon, NextCheck: &next, NextWhy: "no check yet", Clock: api.ClockState{Set: true},
		Store:   api.StoreState{OK: true},
		Devices: []api.DeviceState{{Name: "arm", State: "live"}, {Name: "encoder", State: "lost", SinceS: 90}},
		Drift: &api.DriftState{
			Alarms: []api.Alarm{{Kind: "trend", Axis: "tilt", Since: noon.AddDate(0, 0, -3),
				Text: "tilt is moving"}}},
	}
	want := []Alarm{
		{Kind: "trend", About: "tilt", Severity: "warning", Since: noon.AddDate(0, 0, -3), Text: "tilt is moving"},
		{Kind: "due", Severity: "info", Since: next, After: dueAfter,
			Text: "the next check has been due since 2026-03-02 11:00 UTC (no check yet): sweep the spindle again"},
		{Kind: "device", About: "encoder", Severity: "warning", Since: noon.Add(-90 * time.Second), After: deviceAfter,
			Text: "encoder sends nothing: its port is lost; look at cable, battery and adapter"},
	}
	got := Standing(s)
	if len(got) != len(want) {
		t.Fatalf("got %+v", got)
	}
	for i := range want {
		if got[i] != want[i] {
			t.Errorf("got  %+v\nwant %+v", got[i], want[i])
		}
	}
	s.Clock.Set, s.Store = false, api.StoreState{Error: "disk full"}
	kinds := map[string]bool{}
	for _, a := range Standing(s) {
		kinds[a.Kind] = true
	}
	if kinds["due"] || !kinds["clock"] || !kinds["store"] {
		t.Errorf("a clock that was not set cannot say that a check is due: %v", kinds)
	}
	s.Troubles = map[string]string{"backup": "the stick is not there", "record": "damaged"}
	chores := map[string]string{}
	for _, a := range Standing(s) {
		if a.Kind == "chore" {
			p := alert("linnet", "", a, noon)
			chores[a.About] = a.Severity + " " + p.Labels["alertname"] + " " + p.Labels["kind"] + " " +
				p.Labels["axis"] + a.Text
		}
	}
	want2 := map[string]string{"record": "critical TramdTrouble record damaged",
		"backup": "warning TramdTrouble backup the stick is not there"}
	if !maps.Equal(chores, want2) {
		t.Errorf("chores %v, want %v", chores, want2)
	}
}
