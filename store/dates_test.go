package store

import (
	"context"
	"slices"
	"testing"
	"testing/fstest"
	"time"

	"tramd/sweep"
)

// built is where a clock without a battery wakes up.
var built = time.Date(2025, 5, 15, 0, 0, 0, 0, time.UTC)

// runAt stores a finished run of a minute, begun some time after boot by a clock that is wrong or right.
func runAt(t *testing.T, s *Store, boot string, since time.Duration, booted time.Time, set bool) int64 {
	t.Helper()
	at := booted.Add(since)
	id, err := s.BeginRun(t.Context(), NewRun{Kind: "sweep", Purpose: "check", Setup: setupOf(t, ""), StartedAt: at,
		BootID: boot, BootTime: since, ClockSet: set})
	if err != nil {
		t.Fatal(err)
	}
	if err := s.FinishRun(t.Context(), id, Finished, at.Add(time.Minute), "", resultOf(1e-4, 0)); err != nil {
		t.Fatal(err)
	}
	return id
}

func TestRunsOfABootAreDatedOnceTheClockIsSet(t *testing.T) {
	ctx := t.Context()
	s := fresh(t)
	right := day.Truncate(time.Microsecond) // of this boot
	old := runAt(t, s, "boot-0", time.Hour, built, false)
	first := runAt(t, s, "boot-1", time.Minute, built, false)
	second := runAt(t, s, "boot-1", 10*time.Minute, built, false)
	open, err := s.BeginRun(ctx, NewRun{Kind: "sweep", Purpose: "check", Setup: setupOf(t, ""),
		StartedAt: built.Add(20 * time.Minute), BootTime: 20 * time.Minute})
	if err != nil {
		t.Fatal(err)
	}
	// by a clock that was set, and slewed since
	sure := runAt(t, s, "boot-1", 30*time.Minute, right.Add(5*time.Second), true)
	event := func(kind string, unset bool) int64 {
		id, err := s.AddEvent(ctx, Event{At: built.Add(15 * time.Minute), Kind: kind, BootTime: 15 * time.Minute,
			ClockUnset: unset})
		if err != nil {
			t.Fatal(err)
		}
		return id
	}
	wrong, believed := event("adjusted", true), event("note", false)

	done, err := s.DateBoot(ctx, "boot-1", right)
	if err != nil || !slices.Equal(done.Runs, []int64{first, second, open}) || done.Events != 1 {
		t.Fatalf("dated %+v, %v; want runs %d, %d, %d and 1 event", done, err, first, second, open)
	}
	for id, want := range map[int64]struct {
		started time.Time
		set     bool
	}{
		old: {built.Add(time.Hour), false}, first: {right.Add(time.Minute), true},
		second: {right.Add(10 * time.Minute), true},
		open:   {right.Add(20 * time.Minute), true}, sure: {right.Add(30*time.Minute + 5*time.Second), true},
	} {
		run, err := s.Run(ctx, id)
		if err != nil {
			t.Fatal(err)
		}
		if !run.StartedAt.Equal(want.started) || run.ClockSet != want.set || id != open &&
			run.EndedAt.Sub(run.StartedAt) != time.Minute {
			t.Errorf("run %d: from %v to %v, set %v; want from %v, set %v", id, run.StartedAt, run.EndedAt,
				run.ClockSet, want.started, want.set)
		}
	}
	events, err := s.Events(ctx, 10)
	if err != nil || len(events) != 2 {
		t.Fatal(events, err)
	}
	for _, e := range events {
		want := map[int64]time.Time{wrong: right.Add(15 * time.Minute), believed: built.Add(15 * time.Minute)}[e.ID]
		if !e.At.Equal(want) || e.ClockUnset {
			t.Errorf("event %d at %v (unset %v), want %v", e.ID, e.At, e.ClockUnset, want)
		}
	}

	// Once: a later step of the clock does not move them again, and the time first written is still there.
	done, err = s.DateBoot(ctx, "boot-1", right.Add(time.Hour))
	if err != nil || len(done.Runs) != 0 || done.Events != 0 {
		t.Errorf("a second time dated %+v, %v", done, err)
	}
	var written int64
	if err := s.r.QueryRow("SELECT first_us FROM run WHERE id = ?", first).Scan(&written); err != nil ||
		written != micros(built.Add(time.Minute)) {
		t.Errorf("first written as %v, %v", fromMicros(written), err)
	}
	if done, err := s.DateBoot(ctx, "", right); err != nil || len(done.Runs) != 0 {
		t.Errorf("runs of no known boot were dated: %+v, %v", done, err)
	}
	h, _, err := s.History(ctx, "linnet", Mark{})
	if err != nil {
		t.Fatal(err)
	}
	var at []time.Time
	for _, e := range h.Entries {
		if e.Check != nil {
			at = append(at, e.Check.Time)
		}
	}
	want := []time.Time{right.Add(time.Minute), right.Add(10 * time.Minute), right.Add(30*time.Minute + 5*time.Second)}
	if !slices.EqualFunc(at, want, time.Time.Equal) || len(h.Warnings) == 0 {
		t.Errorf("to be reckoned with over time: %v, warnings %v; want %v and a warning of the run without a date", at,
			h.Warnings, want)
	}
}

// The wall clock is put on by ten months while a run goes on: it stays as long as it was, before and after it is dated.
func TestARunAcrossAStepOfTheClockKeepsItsLength(t *testing.T) {
	for name, redated := range map[string]bool{"dated while it goes on": true, "never dated": false} {
		t.Run(name, func(t *testing.T) {
			ctx := t.Context()
			s := fresh(t)
			began := time.Now() // with the monotonic reading that the daemon's times have
			id, err := s.BeginRun(ctx, NewRun{Kind: "sweep", Purpose: "check", Setup: setupOf(t, ""), StartedAt: began,
				BootTime: 20 * time.Minute})
			if err != nil {
				t.Fatal(err)
			}
			// The row as a clock that is ten months slow would have written it.
			if _, err := s.w.Exec("UPDATE run SET started_us = started_us - ? WHERE id = ?",
				(7000 * time.Hour).Microseconds(), id); err != nil {
				t.Fatal(err)
			}
			want := began.Add(-7000 * time.Hour)
			if redated {
				if _, err := s.DateBoot(ctx, "boot-1", began.Add(-20*time.Minute)); err != nil {
					t.Fatal(err)
				}
				want = began
			}
			if err := s.FinishRun(ctx, id, Finished, began.Add(90*time.Second), "", resultOf(0, 0)); err != nil {
				t.Fatal(err)
			}
			run, err := s.Run(ctx, id)
			if err != nil {
				t.Fatal(err)
			}
			if d := run.StartedAt.Sub(want).Abs(); d > time.Millisecond ||
				run.EndedAt.Sub(run.StartedAt) != 90*time.Second {
				t.Errorf("from %v to %v, want from %v, 90 s long", run.StartedAt, run.EndedAt, want)
			}
		})
	}
}

// A file of the first schema comes to the present one with its runs and events as they were.
func TestTheFirstSchemaIsBroughtUpToDate(t *testing.T) {
	ctx := context.Background()
	text, err := migrationFiles.ReadFile("migrations/0001_runs.sql")
	if err != nil {
		t.Fatal(err)
	}
	path := t.TempDir() + "/linnet.db"
	old, err := Open(ctx, path, Options{files: fstest.MapFS{"migrations/0001_runs.sql": {Data: text}}})
	if err != nil {
		t.Fatal(err)
	}
	id := begin(t, old)
	if err := old.AppendPoints(ctx, id, []sweep.Point{{T: 1, Reading: 0.35}}); err != nil {
		t.Fatal(err)
	}
	if _, err := old.w.Exec("INSERT INTO event (at_us, kind, text) VALUES (?, 'crashed', 'into the vice')",
		micros(day)); err != nil {
		t.Fatal(err)
	}
	if err := old.Close(); err != nil {
		t.Fatal(err)
	}
	s := open(t, path)
	run, err := s.Run(ctx, id)
	if err != nil || !run.StartedAt.Equal(day) || run.Readings != 1 {
		t.Errorf("run %+v, %v", run, err)
	}
	events, err := s.Events(ctx, 10)
	if err != nil || len(events) != 1 || events[0].Text != "into the vice" || !events[0].At.Equal(day) ||
		events[0].ClockUnset {
		t.Errorf("events %+v, %v", events, err)
	}
}
