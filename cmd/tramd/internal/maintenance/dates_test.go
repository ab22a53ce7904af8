package maintenance

import (
	"context"
	"log/slog"
	"path/filepath"
	"testing"
	"time"

	"tramd/cmd/tramd/internal/api"
	"tramd/cmd/tramd/internal/clock"
	"tramd/cmd/tramd/internal/session"
	"tramd/store"
	"tramd/sweep"
)

// wall is the clock of a machine that wakes up in the past.
type wall struct {
	now  time.Time
	boot time.Duration
	set  bool
}

func (w *wall) clock() clock.Clock {
	return clock.Clock{Wall: func() time.Time { return w.now }, Boot: func() time.Duration { return w.boot },
		Set: func() bool { return w.set }}
}

func TestTheRecordIsDatedWhenTheClockIsSet(t *testing.T) {
	ctx := t.Context()
	s, err := store.Open(ctx, filepath.Join(t.TempDir(), "linnet.db"), store.Options{BootID: "boot-1"})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	past := time.Date(2025, 5, 15, 0, 10, 0, 0, time.UTC)
	setup := sweep.Setup{Machine: "linnet", AngleSource: "stations", StationsDeg: []float64{0, 90, 180, 270},
		Indicators: []sweep.Indicator{{Name: "arm", RadiusMM: 120, ResolutionMM: 0.001}}}
	id, err := s.BeginRun(ctx, store.NewRun{Kind: "sweep", Purpose: "check", Setup: setup, StartedAt: past,
		BootTime: 10 * time.Minute})
	if err != nil {
		t.Fatal(err)
	}
	if err := s.FinishRun(ctx, id, store.Finished, past.Add(time.Minute), "",
		&sweep.Result{Model: "plain"}); err != nil {
		t.Fatal(err)
	}
	sess, err := session.New(session.Options{Setup: setup, Indicators: []session.IndicatorRoute{{}},
		Angle: session.AngleRoute{Device: -1},
		Last:  &api.LastRun{Run: id, At: past.Add(time.Minute)}})
	if err != nil {
		t.Fatal(err)
	}
	m := &wall{now: past.Add(5 * time.Minute), boot: 15 * time.Minute}
	d := &dates{store: s, clock: clock.NewWatcher(m.clock()), log: slog.New(slog.DiscardHandler),
		to: Parts{Session: sess}, boot: "boot-1"}
	d.look(ctx)
	if run, err := s.Run(ctx, id); err != nil || run.ClockSet {
		t.Fatalf("dated by a clock that is not set: %+v, %v", run, err)
	}

	now := time.Date(2026, 3, 2, 7, 30, 0, 0, time.UTC)
	m.now, m.boot, m.set = now, 16*time.Minute, true
	d.look(ctx)
	want := now.Add(-6 * time.Minute) // ten minutes after boot, which was sixteen ago
	run, err := s.Run(ctx, id)
	if err != nil || !run.ClockSet || !run.StartedAt.Equal(want) || !run.EndedAt.Equal(want.Add(time.Minute)) {
		t.Errorf("from %v to %v, set %v, %v; want from %v", run.StartedAt, run.EndedAt, run.ClockSet, err, want)
	}
	if snap, err := sess.Snapshot(ctx); err != nil || !snap.Last.At.Equal(want.Add(time.Minute)) {
		t.Errorf("the session shows %+v, %v", snap.Last, err)
	}

	// A run that was begun just as the clock was set was written after the first dating.
	late, err := s.BeginRun(ctx, store.NewRun{Kind: "sweep", Purpose: "check", Setup: setup,
		StartedAt: past.Add(6 * time.Minute), BootTime: 16 * time.Minute})
	if err != nil {
		t.Fatal(err)
	}
	m.now, m.boot = now.Add(time.Second), 16*time.Minute+time.Second
	d.look(ctx)
	if run, err := s.Run(ctx, late); err != nil || !run.ClockSet || !run.StartedAt.Equal(now) {
		t.Errorf("the late one: %v, set %v, %v; want %v", run.StartedAt, run.ClockSet, err, now)
	}
}

// What cannot be written yet is dated later.
func TestDatingIsTriedAgain(t *testing.T) {
	s, err := store.Open(t.Context(), filepath.Join(t.TempDir(), "linnet.db"), store.Options{BootID: "boot-1"})
	if err != nil {
		t.Fatal(err)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	k := &dates{store: s, log: slog.New(slog.DiscardHandler), boot: "boot-1"}
	k.changed(clock.Change{Set: true, Newly: true, Booted: time.Now()})
	k.due(context.Background())
	if k.again != datings {
		t.Errorf("%d datings left after one that failed, want %d", k.again, datings)
	}
}
