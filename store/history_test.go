package store

import (
	"math"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"tramd/sweep"
	"tramd/sweep/drift"
	"tramd/sweep/units"
)

// checked stores a finished sweep with a result.
func checked(t testing.TB, s *Store, setup sweep.Setup, purpose string, at time.Time, dated bool, tilt float64) int64 {
	t.Helper()
	id, err := s.BeginRun(t.Context(), NewRun{Kind: "sweep", Purpose: purpose, Setup: setup, StartedAt: at,
		ClockSet: dated})
	if err != nil {
		t.Fatal(err)
	}
	res := sweep.Result{Model: "plain", Verdict: sweep.Within, ClosureMM: math.NaN(), ResidualRMSMM: math.NaN(),
		FormPVMM: math.NaN(), DoF: math.NaN(),
		Tilt: &sweep.Axis{Slope: units.Slope(tilt) * units.MMPerM, U: 0.004 * units.MMPerM,
			Expanded: 0.008 * units.MMPerM, Verdict: sweep.Within}}
	if err := s.FinishRun(t.Context(), id, Finished, at.Add(time.Minute), "", &res); err != nil {
		t.Fatal(err)
	}
	return id
}

func TestHistory(t *testing.T) {
	ctx := t.Context()
	s, err := Open(ctx, filepath.Join(t.TempDir(), "linnet.db"), Options{BootID: "boot-1"})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	tight, err := units.ParseTolerance("0.02/300")
	if err != nil {
		t.Fatal(err)
	}
	setup := sweep.Setup{Machine: "linnet", Surface: "bed", Tolerance: tight, AngleSource: "encoder",
		Indicators: []sweep.Indicator{{Name: "arm", RadiusMM: 120, ResolutionMM: 0.001}}}
	wren, plate, wide := setup, setup, setup
	wren.Machine, plate.Surface = "wren", "granite plate"
	if wide.Tolerance, err = units.ParseTolerance("0.03/300"); err != nil {
		t.Fatal(err)
	}
	day := func(n int) time.Time { return time.Date(2026, 3, n, 7, 30, 0, 0, time.UTC) }
	event := func(kind, text string, at time.Time) {
		if _, err := s.AddEvent(ctx, Event{At: at, Kind: kind, Text: text}); err != nil {
			t.Fatal(err)
		}
	}
	warm := 23.5
	if id, err := s.BeginRun(ctx, NewRun{Kind: "sweep", Purpose: "check", Setup: setup, StartedAt: day(1),
		TemperatureC: &warm}); err != nil {
		t.Fatal(err)
	} else if run, err := s.Run(ctx, id); err != nil || run.TemperatureC == nil || *run.TemperatureC != 23.5 {
		t.Errorf("temperature of %+v, %v", run, err)
	}
	if _, err := s.w.ExecContext(ctx, "UPDATE run SET temperature_c = 18.25 WHERE id = ?",
		checked(t, s, setup, "check", day(1), true, 0.01)); err != nil {
		t.Fatal(err)
	}
	event("hours", "1234.5", day(2))
	checked(t, s, wren, "check", day(2), true, 9)
	checked(t, s, setup, "check", time.Date(1970, 1, 1, 0, 5, 0, 0, time.UTC), false, 5)
	checked(t, s, setup, "adjust", day(4), true, 0.02)
	mark := checked(t, s, wide, "check", day(5), true, 0.03)
	event("crashed", "the arm was hit", day(6))
	checked(t, s, plate, "check", day(7), true, 0.04)
	failed, err := s.BeginRun(ctx, NewRun{Kind: "sweep", Purpose: "check", Setup: setup, StartedAt: day(8),
		ClockSet: true})
	if err != nil {
		t.Fatal(err)
	}
	if err := s.FinishRun(ctx, failed, Failed, day(8), "pulled out", nil); err != nil {
		t.Fatal(err)
	}

	h, at, err := s.History(ctx, "linnet", Mark{})
	if err != nil {
		t.Fatal(err)
	}
	var said []string
	for _, e := range h.Entries {
		if e.Event != nil {
			said = append(said, e.Event.Kind)
		} else {
			said = append(said, e.Check.Time.Format("02"))
		}
	}
	if want := []string{"01", "hours", "adjusted", "05", "crashed", "moved", "07"}; !slices.Equal(said, want) {
		t.Errorf("got %v, want %v", said, want)
	}
	first, last := h.Entries[0].Check, h.Entries[6].Check
	if first.Axis[0].MMPerM != 0.01 || first.Axis[0].U != 0.004 || first.Axis[1] != nil ||
		math.Abs(first.Limit-20.0/300) > 1e-12 {
		t.Errorf("%+v %+v", first, first.Axis[0])
	}
	if c := first.TemperatureC; c == nil || *c != 18.25 || last.TemperatureC != nil {
		t.Errorf("temperatures %v and %v", c, last.TemperatureC)
	}
	if last.Axis[0].MMPerM != 0.04 || h.Entries[1].Event.Hours != 1234.5 {
		t.Errorf("%+v, %+v", last, h.Entries[1].Event)
	}
	var codes []string
	for _, w := range h.Warnings {
		codes = append(codes, w.Code)
	}
	if want := []string{"clock_not_set", "tolerance_changed"}; !slices.Equal(codes, want) {
		t.Errorf("warnings %v, want %v", codes, want)
	}
	if h.Undated != 0 {
		t.Errorf("%d undated at the end; the undated one lies in the middle", h.Undated)
	}

	if more, again, err := s.History(ctx, "linnet", at); err != nil || len(more.Entries) != 0 || again != at {
		t.Errorf("after everything: %+v, %v, %v", more.Entries, again, err)
	}
	if more, _, err := s.History(ctx, "linnet", Mark{Run: mark, Event: at.Event}); err != nil ||
		len(more.Entries) != 1 {
		t.Errorf("after run %d: %+v, %v", mark, more.Entries, err)
	}
	// An older release would store what a sensor said, whatever it was.
	if _, err := s.w.ExecContext(ctx, "UPDATE run SET temperature_c = 96 WHERE temperature_c = 18.25"); err != nil {
		t.Fatal(err)
	}
	if h, _, err := s.History(ctx, "linnet", Mark{}); err != nil || h.Entries[0].Check.TemperatureC != nil ||
		!slices.ContainsFunc(h.Warnings, func(w sweep.Warning) bool { return w.Code == "temperature_absurd" }) {
		t.Errorf("96 degrees Celsius: %v, %+v", err, h.Warnings)
	}
	if _, err := s.BeginRun(ctx, NewRun{Kind: "sweep", Purpose: "check", Setup: setup, StartedAt: day(9),
		TemperatureC: new(96.0)}); err == nil || !strings.Contains(err.Error(), "degrees Celsius") {
		t.Errorf("96 degrees Celsius were stored: %v", err)
	}
	checked(t, s, setup, "check", time.Date(1970, 1, 1, 0, 5, 0, 0, time.UTC), false, 5)
	if h, _, err := s.History(ctx, "linnet", Mark{}); err != nil || h.Undated == 0 {
		t.Errorf("the newest check has no date, and nothing is said of it: %v", err)
	}
	if _, err := s.AddEvent(ctx, Event{At: day(9), Kind: "hours", Text: "a lot"}); err == nil {
		t.Error("hours that are no number were stored")
	}
}

// BenchmarkHistory reads ten years of checks, one an hour.
func BenchmarkHistory(b *testing.B) {
	s, err := Open(b.Context(), filepath.Join(b.TempDir(), "linnet.db"), Options{})
	if err != nil {
		b.Fatal(err)
	}
	defer s.Close()
	setup := sweep.Setup{Machine: "linnet", AngleSource: "encoder",
		Indicators: []sweep.Indicator{{Name: "arm", RadiusMM: 120, ResolutionMM: 0.001}}}
	id := checked(b, s, setup, "check", time.Date(2016, 1, 4, 0, 0, 0, 0, time.UTC), true, 0.01)
	// The rest by SQL: a commit for each would take an hour.
	if _, err := s.w.Exec(`WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n WHERE i < 87600)
		INSERT INTO run (kind, purpose, setup_id, started_us, boot_id, boot_us, clock_set, outcome) SELECT kind, purpose, setup_id, started_us + i * 3600000000, '', 0, 1, outcome FROM run, n WHERE run.id = ?`, id); err != nil {
		b.Fatal(err)
	}
	if _,
		err := s.w.Exec(
		"INSERT INTO result (run_id, model, model_version, json) SELECT run.id, model, model_version, json FROM run, result WHERE run_id = ? AND run.id > ?", id, id); err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		h, _, err := s.History(b.Context(), "linnet", Mark{})
		if err != nil || len(h.Entries) < 87600 {
			b.Fatal(len(h.Entries), err)
		}
		if _, err := drift.Work(h, 0.95); err != nil {
			b.Fatal(err)
		}
	}
}
