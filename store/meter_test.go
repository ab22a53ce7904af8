package store

import (
	"math"
	"path/filepath"
	"testing"
	"time"
)

// At a kill the hours of what was stored stay, and those that go on from there are never less.
func TestHoursAreKeptWithTheRunsAndSetByHand(t *testing.T) {
	ctx := t.Context()
	path := filepath.Join(t.TempDir(), "linnet.db")
	s := open(t, path)
	if m, err := s.Meter(ctx); m != nil || err != nil {
		t.Fatalf("%v, %v in a new record", m, err)
	}
	counter := 200.5
	run := func(m *Meter, at time.Time) int64 {
		t.Helper()
		id, err := s.BeginRun(ctx, NewRun{Kind: "sweep", Purpose: "check", Setup: setupOf(t, ""), StartedAt: at,
			ClockSet: true, Meter: m})
		if err != nil {
			t.Fatal(err)
		}
		if err := s.FinishRun(ctx, id, Finished, at.Add(time.Minute), "", resultOf(1e-4, 2e-4)); err != nil {
			t.Fatal(err)
		}
		return id
	}
	if err := s.SetMeter(ctx, Meter{Hours: 1234, Counter: &counter}); err != nil {
		t.Fatal(err)
	}
	counter = 200.75
	first := run(&Meter{Hours: 1234.25, Counter: &counter}, day)
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	s = open(t, path)
	m, err := s.Meter(ctx)
	if err != nil || m == nil || m.Hours != 1234.25 || m.Counter == nil || *m.Counter != 200.75 {
		t.Fatalf("%+v, %v", m, err)
	}
	got, err := s.Run(ctx, first)
	if err != nil || got.SpindleHours == nil || *got.SpindleHours != 1234.25 {
		t.Errorf("%v, %v", got.SpindleHours, err)
	}
	if list, err := s.List(ctx, 0, 5); err != nil || len(list) != 1 || list[0].SpindleHours == nil {
		t.Errorf("listed %+v, %v", list, err)
	}
	if err := s.SetMeter(ctx, Meter{Hours: 1240}); err != nil {
		t.Fatal(err)
	}
	if d := s.HoursSinceCheck(ctx); d == nil || *d != 5.75 {
		t.Errorf("%v h since the check", d)
	}
	// A person sets them right, downwards too.
	if _, err := s.AddEvent(ctx, Event{At: day.Add(time.Hour), Kind: "hours", Text: "1000.5"}); err != nil {
		t.Fatal(err)
	}
	if m, err := s.Meter(ctx); err != nil || m == nil || m.Hours != 1000.5 || m.Counter != nil {
		t.Errorf("%+v, %v", m, err)
	}
	if d := s.HoursSinceCheck(ctx); d != nil {
		t.Errorf("%v h since the check, by hours that were set back", *d)
	}
	run(nil, day.Add(2*time.Hour))
	h, _, err := s.History(ctx, "linnet", Mark{})
	if err != nil {
		t.Fatal(err)
	}
	var said []float64
	for _, e := range h.Entries {
		switch {
		case e.Check != nil:
			said = append(said, e.Check.SpindleHours)
		case e.Event.Kind == hoursEvent:
			said = append(said, e.Event.Hours)
		}
	}
	if len(said) != 3 || said[0] != 1234.25 || said[1] != 1000.5 || !math.IsNaN(said[2]) {
		t.Errorf("the history says %v", said)
	}
	// Of typed hours alone the run knows nothing, and what was typed last before it counts.
	if _, err := s.AddEvent(ctx, Event{At: day.Add(3 * time.Hour), Kind: "hours", Text: "1002"}); err != nil {
		t.Fatal(err)
	}
	if d := s.HoursSinceCheck(ctx); d == nil || *d != 1.5 {
		t.Errorf("%v h since the check", d)
	}
	bad := math.NaN()
	for _, m := range []Meter{{Hours: -1}, {Hours: bad}, {Hours: 1e8}, {Hours: 1, Counter: &bad}} {
		if s.SetMeter(ctx, m) == nil {
			t.Errorf("%v was kept", m)
		}
		if _, err := s.BeginRun(ctx, NewRun{Kind: "sweep", Setup: setupOf(t, ""), StartedAt: day,
			Meter: &m}); err == nil {
			t.Errorf("a run at %v was begun", m)
		}
	}
}
