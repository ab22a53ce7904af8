package tui

import (
	"strings"
	"testing"
	"time"

	"tramd/cmd/tramd/internal/api"
	"tramd/cmd/tramd/internal/display"
	"tramd/sweep"
	"tramd/sweep/units"
)

func TestView(t *testing.T) {
	mm := 1.25
	noon := time.Date(2026, 3, 2, 12, 0, 0, 0, time.Local) // times are shown as the clock on the wall has them
	s := &api.Snapshot{
		Machine: "linnet", At: noon, Limit: 0.3,
		Last: &api.LastRun{Run: 3, At: noon.Add(-3 * time.Hour), Result: sweep.Result{
			Tilt: &sweep.Axis{Slope: 0.257 * units.MMPerM, Expanded: 0.008 * units.MMPerM, Verdict: sweep.Within},
			Nod:  &sweep.Axis{Slope: -0.5 * units.MMPerM, Expanded: 0.008 * units.MMPerM, Verdict: sweep.Outside},
		}},
		Devices: []api.DeviceState{{Name: "arm", Role: "indicator", State: "live", ReadingMM: &mm},
			{Name: "encoder", State: "lost", SinceS: 12}},
		Drift: &api.DriftState{Alarms: []api.Alarm{
			{Kind: "outside", Axis: "nod", Since: noon.Add(-27 * time.Hour),
				Text: "nod is past its limit"}}},
	}
	got := View(s, 80, 7*time.Second, display.Units{})
	for _, want := range []string{
		"STALE: the daemon has said nothing for 7 s", "arm          live        +1.2500 mm",
		"encoder      lost      for 12 s",
		"ALARM outside since 2026-03-01: nod is past its limit", "NOT STORED",
		"the clock of this computer has not been set",
		"±0.008", "outside", "within",
	} {
		if !strings.Contains(got, want) {
			t.Errorf("missing %q in\n%s", want, got)
		}
	}
	age, lag, u := 0.1, -0.004, 0.00313
	s.Devices[0].AgeS, s.Devices[0].LagMM, s.Devices[0].UMM = &age, &lag, &u
	if got, want := View(s, 80, 0, display.Units{}),
		"+1.2500 mm ±0.0063 mm, 0.1 s ago, lags 0.0040 mm behind"; !strings.Contains(got, want) {
		t.Errorf("missing %q in\n%s", want, got)
	}
	for _, row := range strings.Split(View(s, 30, 0, display.Units{}), "\n") {
		if n := len([]rune(row)); n > 30 {
			t.Errorf("%d columns on a terminal of 30: %q", n, row)
		}
	}
	s.Devices[1].Error =
		"port is open, but no reading has come for 9 s: check that it is on, its cable, and its battery"
	if got := strings.Join(strings.Fields(View(s, 60, 0, display.Units{})), " "); !strings.Contains(
		got, s.Devices[1].Error) {
		t.Errorf("the cure is cut off:\n%s", View(s, 60, 0, display.Units{}))
	}
	s.Devices[1].Error = ""
	until := s.At.Add(20 * time.Hour)
	s.Troubles = map[string]string{"check": "the check of 2026-03-02 06:00 was missed: tramd was not ready at the time"}
	s.Check = &api.CheckState{Next: noon.Add(18 * time.Hour).Format(time.RFC3339), Moves: true,
		WhyNot: []string{"indicator arm sends nothing"}, Say: "no check at 2026-03-01 06:00"}
	s.Angle.ArmedUntil = &until
	got = View(s, 200, 0, display.Units{})
	for _, want := range []string{
		"TROUBLE check: the check of 2026-03-02 06:00 was missed: tramd was not ready at the time",
		"a check at 2026-03-03 06:00:00, armed until 2026-03-03 08:00:00: keep clear of the arm",
		"not as things are: indicator arm sends nothing", "last: no check at 2026-03-01 06:00",
	} {
		if !strings.Contains(got, want) {
			t.Errorf("missing %q in\n%s", want, got)
		}
	}
	hours := 1234.56
	s.Inputs = []api.InputState{{Name: "door", State: "on", SinceS: 3},
		{Name: "feed", State: "unknown", Error: "no such file"}}
	s.Hours = &api.HoursState{Hours: &hours, From: "input feed", Error: "the hours cannot be kept"}
	got = View(s, 200, 0, display.Units{})
	for _, want := range []string{"door         on        for 3 s", "feed         unknown   no such file",
		"1234.6 h; the hours cannot be kept by input feed"} {
		if !strings.Contains(got, want) {
			t.Errorf("missing %q in\n%s", want, got)
		}
	}
	lean, deg := -0.123, 180.0
	s.Pair = &api.PairState{Run: 4, Kind: api.HalfTurn, At: s.At.Add(-5 * time.Minute), First: "near",
		Less: "far", MMPerM: &lean, Deg: &deg, Half: 0.031, DiffMM: -0.0308,
		Told: true, Tilt: &api.PairAxis{MMPerM: 0.123, Half: 0.031, At: s.At},
		Nod: &api.PairAxis{MMPerM: 0.05, Half: 0.03, At: s.At.Add(-3 * time.Hour)}}
	for _, want := range []string{"pair         -0.123 ±0.031 mm/m towards 180° (near less far -0.0308 mm)",
		"zeroed by half-turn 4 5 min ago, as long as the bar stays there",
		"tilt +0.123 ±0.031 mm/m, 0 s ago", "nod  +0.050 ±0.030 mm/m, 3.0 h ago"} {
		if got := View(s, 100, 0, display.Units{}); !strings.Contains(got, want) {
			t.Errorf("missing %q in\n%s", want, got)
		}
	}
	s.Pair.MMPerM, s.Pair.Why = nil, "No fresh reading."
	if got := View(s, 100, 0, display.Units{}); !strings.Contains(got, "pair         No fresh reading.; zeroed by") ||
		strings.Contains(got, "tilt +0.123") {
		t.Errorf("a pair that cannot be read:\n%s", got)
	}
	s.Last.Result.Nod = nil
	if got := View(s, 80, 0, display.Units{}); !strings.Contains(got, "nod   not measured") ||
		strings.Contains(got, "back") {
		t.Errorf("a plan of one axis was drawn:\n%s", got)
	}
}

// An ordinary terminal of 80 by 24 shows both axes, how sure they are, how far the sweep has come, and every alarm.
func TestViewFitsAnOrdinaryTerminal(t *testing.T) {
	mm, deg := 1.25, 12.0
	s := &api.Snapshot{
		Machine: "linnet", At: time.Now(), Limit: 0.3, Store: api.StoreState{OK: true},
		Clock: api.ClockState{Set: true}, Angle: api.AngleState{Source: "encoder", Deg: &deg},
		Sweep: api.SweepState{Phase: api.PhaseTurning, Run: 4, TurnsWanted: 2, TurnsDone: 1.5, Readings: 1200,
			Stored: 1100, Say: "Keep turning: 1.50 of 2.", Result: &sweep.Result{
				Tilt: &sweep.Axis{Slope: -0.257 * units.MMPerM, Expanded: 0.008 * units.MMPerM,
					Verdict: sweep.Undecided},
				Nod: &sweep.Axis{Slope: 0.5 * units.MMPerM, Expanded: 0.009 * units.MMPerM, Verdict: sweep.Outside},
			}},
		Devices: []api.DeviceState{{Name: "arm", Role: "indicator", State: "live", ReadingMM: &mm},
			{Name: "encoder", Role: "angle", State: "live"}},
		Drift: &api.DriftState{
			Alarms: []api.Alarm{{Kind: "outside", Since: time.Now(), Text: "nod is past its limit"}}},
	}
	got := cut(View(s, 80, 0, display.Units{}), 24)
	rows := strings.Split(strings.TrimSuffix(got, "\n"), "\n")
	if len(rows) > 23 {
		t.Errorf("%d rows", len(rows))
	}
	for _, row := range rows {
		if n := len([]rune(row)); n > 80 {
			t.Errorf("%d columns: %q", n, row)
		}
	}
	for _, want := range []string{"tilt ", "nod ", "±0.008", "±0.009", "undecided", "outside", "back", "front",
		"[#######################-------]  75 %", "1200 readings, 1100 on disk", "ALARM outside", "arm          live"} {
		if !strings.Contains(got, want) {
			t.Errorf("no %q in\n%s", want, got)
		}
	}
	s.Sweep = api.SweepState{Phase: api.PhaseIdle}
	s.Last = &api.LastRun{Run: 4, At: time.Now(),
		Result: sweep.Result{Verdict: sweep.Outside, Tilt: &sweep.Axis{Verdict: sweep.Outside}, Nod: &sweep.Axis{}}}
	if got := View(s, 80, 0, display.Units{}); !strings.Contains(got, "next: tramd advise") {
		t.Errorf("it does not say what is next:\n%s", got)
	}
}

// The lean stands where it points: tilt right, nod to the back, on a plan seen from above.
func TestPlanPointsWhereTheSpindleLeans(t *testing.T) {
	for _, c := range []struct {
		name      string
		tilt, nod float64
		row, col  int // of the o, in a grid of 11 by 21 whose middle is 5, 10
	}{
		{"square", 0, 0, 5, 10}, {"right", 0.25, 0, 5, 18}, {"left", -0.25, 0, 5, 2}, {"back", 0, 0.25, 1, 10},
		{"front", 0, -0.25, 9, 10},
		{"far outside", 9, -9, 10, 20},
	} {
		rows := plan(&sweep.Result{Tilt: &sweep.Axis{Slope: units.Slope(c.tilt) * units.MMPerM},
			Nod: &sweep.Axis{Slope: units.Slope(c.nod) * units.MMPerM}}, 0.25)
		for y, row := range rows[1 : len(rows)-1] {
			x := strings.IndexRune(row, 'o')
			if (x >= 0) != (y == c.row) {
				t.Errorf("%s: row %d is %q", c.name, y, row)
			} else if x >= 0 && len([]rune(row[:x]))-8 != c.col {
				t.Errorf("%s: column %d, not %d", c.name, len([]rune(row[:x]))-8, c.col)
			}
		}
	}
}
