package archive

import (
	"log/slog"
	"path/filepath"
	"testing"

	"tramd/cmd/tramd/internal/history"
	"tramd/cmd/tramd/internal/hours"
	"tramd/cmd/tramd/internal/session"
	"tramd/cmd/tramd/internal/temperature"
	"tramd/store"
	"tramd/sweep"
)

func TestARunIsStoredWithTheTemperatureAndTheHoursItBeganAt(t *testing.T) {
	log := slog.New(slog.DiscardHandler)
	s, err := store.Open(t.Context(), filepath.Join(t.TempDir(), "linnet.db"), store.Options{BootID: "boot-1"})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = s.Close() })
	if err := s.SetMeter(t.Context(), store.Meter{Hours: 1200.5}); err != nil {
		t.Fatal(err)
	}
	set := func() bool { return true }
	meter, err := hours.Open(t.Context(), hours.Options{Store: s, From: "input spindle", ClockSet: set, Log: log})
	if err != nil {
		t.Fatal(err)
	}
	thermometer := temperature.New("", log)
	a := &Archive{Store: s, ClockSet: set, Temperature: thermometer, Hours: meter,
		History: history.New(history.Options{}), Log: log}
	stored := func() store.Run {
		t.Helper()
		id, err := a.BeginRun(t.Context(), session.Beginning{Kind: "sweep", Purpose: "check", Setup: sweep.Setup{
			Machine: "linnet", AngleSource: "encoder",
			Indicators: []sweep.Indicator{{Name: "arm", RadiusMM: 120, ResolutionMM: 0.001}}}})
		if err != nil {
			t.Fatal(err)
		}
		run, err := s.Run(t.Context(), id)
		if err != nil {
			t.Fatal(err)
		}
		return run
	}
	if run := stored(); run.TemperatureC != nil || run.SpindleHours == nil || *run.SpindleHours != 1200.5 {
		t.Errorf("before a temperature is known: %v, %v h", run.TemperatureC, run.SpindleHours)
	}
	if err := thermometer.Set(21.5); err != nil {
		t.Fatal(err)
	}
	if c := stored().TemperatureC; c == nil || *c != 21.5 {
		t.Errorf("at 21.5 degrees: %v", c)
	}
}
