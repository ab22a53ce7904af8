package store

import (
	"math"
	"path/filepath"
	"testing"
	"time"

	"tramd/sweep"
	"tramd/sweep/units"
)

func TestTrials(t *testing.T) {
	ctx := t.Context()
	s, err := Open(ctx, filepath.Join(t.TempDir(), "linnet.db"), Options{BootID: "boot-1"})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	tol, err := units.ParseTolerance("0.02/300")
	if err != nil {
		t.Fatal(err)
	}
	setup := sweep.Setup{Machine: "linnet", Tolerance: tol, AngleSource: "encoder",
		Indicators: []sweep.Indicator{{Name: "arm", RadiusMM: 120, ResolutionMM: 0.001}}}
	wren := setup
	wren.Machine = "wren"
	// The clock says nonsense: the order is that of storing.
	at := time.Date(1999, 1, 1, 0, 0, 0, 0, time.UTC)
	log := func(kind, text string, moved map[string]float64) {
		t.Helper()
		at = at.Add(-time.Hour)
		if _, err := s.AddEvent(ctx, Event{At: at, Kind: kind, Text: text, Moved: moved}); err != nil {
			t.Fatal(err)
		}
	}
	log("adjusted", "before everything", map[string]float64{"swing": 9})
	first := checked(t, s, setup, "adjust", at, false, 0.5)
	log("note", "the cat slept on the bed", nil)
	log("adjusted", "", map[string]float64{"swing": -0.2})
	log("adjusted", "a little more", map[string]float64{"swing": -0.05, "lower shim": 0.1})
	checked(t, s, wren, "adjust", at, true, 0.7)
	log("hours", "12.5", nil)
	second := checked(t, s, setup, "adjust", at, true, 0.1)
	log("crashed", "into a clamp", nil)
	unfinished, err := s.BeginRun(ctx, NewRun{Kind: "sweep", Purpose: "adjust", Setup: setup, StartedAt: at})
	if err != nil {
		t.Fatal(err)
	}
	log("adjusted", "during an unfinished sweep", map[string]float64{"swing": 1})
	if err := s.FinishRun(ctx, unfinished, Abandoned, at, "", nil); err != nil {
		t.Fatal(err)
	}

	got, err := s.Trials(ctx, "linnet", 100)
	if err != nil || len(got) != 2 || got[0].Run != first || got[1].Run != second {
		t.Fatalf("%+v, %v", got, err)
	}
	a, b := got[0], got[1]
	if m := a.Entry.Moved; len(m) != 2 || math.Abs(m["swing"]+0.25) > 1e-12 || m["lower shim"] != 0.1 ||
		a.Entry.Unrecorded || len(a.Told) != 2 {
		t.Errorf("after the first: %+v", a)
	}
	if math.Abs(a.Entry.Tilt-0.5) > 1e-9 || math.Abs(a.Entry.TiltU-0.004) > 1e-9 ||
		math.Abs(a.Entry.TiltHalf-0.008) > 1e-9 || !math.IsNaN(a.Entry.Nod) || a.Purpose != "adjust" {
		t.Errorf("the first: %+v", a)
	}
	if !b.Entry.Unrecorded || b.Entry.Moved["swing"] != 1 || len(b.Told) != 2 {
		t.Errorf("after the second: %+v", b)
	}
	if got, err := s.Trials(ctx, "heron", 10); err != nil || len(got) != 0 {
		t.Errorf("a machine without runs: %+v, %v", got, err)
	}
	events, err := s.Events(ctx, 2)
	if err != nil || len(events) != 2 || events[0].Moved["swing"] != 1 || events[1].Moved != nil {
		t.Errorf("%+v, %v", events, err)
	}
	if _, err := s.AddEvent(ctx, Event{At: at, Kind: "crashed", Moved: map[string]float64{"swing": 1}}); err == nil {
		t.Error("a crash was taken with amounts")
	}
	if _, err := s.AddEvent(ctx, Event{At: at, Kind: "adjusted",
		Moved: map[string]float64{"swing": math.NaN()}}); err == nil {
		t.Error("an amount that is no number was stored")
	}
}

// A hundred checks later the moves are still known, by the sweeps on either side of them, and the checks are not all
// read.
func TestManyChecksDoNotHideTheMoves(t *testing.T) {
	ctx := t.Context()
	s := fresh(t)
	setup := setupOf(t, "0.02/300")
	at := time.Date(2026, 3, 2, 7, 30, 0, 0, time.UTC)
	before := checked(t, s, setup, "adjust", at, true, 0.5)
	if _, err := s.AddEvent(ctx, Event{At: at, Kind: "adjusted",
		Moved: map[string]float64{"swing": -0.1}}); err != nil {
		t.Fatal(err)
	}
	after := checked(t, s, setup, "adjust", at, true, 0.05)
	last := after
	for range 100 {
		last = checked(t, s, setup, "check", at, true, 0.05)
	}
	got, err := s.Trials(ctx, setup.Machine, 50)
	if err != nil || len(got) != 2+recentTrials || got[0].Run != before || got[1].Run != after ||
		got[len(got)-1].Run != last {
		t.Fatalf("%d trials, %v", len(got), err)
	}
	if got[0].Entry.Moved["swing"] != -0.1 || got[1].Entry.Changed() {
		t.Errorf("%+v", got[:2])
	}
}
