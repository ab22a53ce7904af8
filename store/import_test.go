package store

import (
	"errors"
	"math/rand/v2"
	"testing"
	"time"

	"tramd/sweep"
)

func importOf(tb testing.TB, file string, at time.Time, pts []sweep.Point) Import {
	tb.Helper()
	setup := setupOf(tb, "0.02/300")
	res, err := sweep.FitPlain(pts, setup)
	if err != nil {
		tb.Fatal(err)
	}
	return Import{NewRun: NewRun{Kind: "sweep", Purpose: "check", Setup: setup, StartedAt: at}, File: file, Points: pts,
		Result: res}
}

func TestTheSameSweepIsImportedOnce(t *testing.T) {
	s := fresh(t)
	pts := handTurned(rand.New(rand.NewPCG(1, 2)), 20000) // more than one chunk's worth is no matter
	im := importOf(t, "first.csv", day, pts)
	id, err := s.ImportRun(t.Context(), im)
	if err != nil {
		t.Fatal(err)
	}
	run, err := s.Run(t.Context(), id)
	if err != nil || run.Outcome != Finished || !run.ClockSet || run.Readings != len(pts) || run.Result == nil ||
		!run.StartedAt.Equal(day.Truncate(time.Microsecond)) {
		t.Fatalf("%+v %v", run, err)
	}
	if got, err := s.Points(t.Context(), id); err != nil || len(got) != len(pts) {
		t.Errorf("%d points, %v", len(got), err)
	}
	moved := append([]sweep.Point(nil), pts...) // another origin of time, another name
	for i := range moved {
		moved[i].T += 1000
	}
	if _, err := s.ImportRun(t.Context(), importOf(t, "copy.csv", day, moved)); !errors.Is(err, ErrImported) {
		t.Errorf("the same readings again: %v", err)
	}
	other := append([]sweep.Point(nil), pts...)
	other[7].Reading += 1e-6
	if _, err := s.ImportRun(t.Context(), importOf(t, "other.csv", day, other)); err != nil {
		t.Errorf("a reading that differs by a nanometre: %v", err)
	}
	im.Again = true
	if again, err := s.ImportRun(t.Context(), im); err != nil || again == id {
		t.Errorf("asked for again: %v %v", again, err)
	}
	counts, err := s.RunCounts(t.Context())
	if err != nil || counts[RunKey{"sweep", Finished}] != 3 {
		t.Errorf("%v %v", counts, err)
	}
	for name, bad := range map[string]Import{
		"no date":     importOf(t, "x.csv", time.Time{}, pts),
		"no readings": {NewRun: NewRun{Kind: "sweep", StartedAt: day}},
	} {
		if _, err := s.ImportRun(t.Context(), bad); err == nil {
			t.Errorf("%s: stored", name)
		}
	}
}

func TestTheLastCheckIsTheYoungestNotTheLastImported(t *testing.T) {
	s := fresh(t)
	pts := handTurned(rand.New(rand.NewPCG(3, 4)), 14000)
	bring := func(at time.Time) int64 {
		pts[0].Reading += 1e-3
		id, err := s.ImportRun(t.Context(), importOf(t, "x.csv", at, pts))
		if err != nil {
			t.Fatal(err)
		}
		return id
	}
	last := func() int64 {
		r, err := s.LastFinished(t.Context(), "sweep")
		if err != nil {
			t.Fatal(err)
		}
		return r.ID
	}
	young := bring(day.AddDate(0, 0, -10))
	bring(day.AddDate(0, 0, -30))
	if got := last(); got != young {
		t.Errorf("run %d, want %d", got, young)
	}
	own := begin(t, s)
	if err := s.FinishRun(t.Context(), own, Finished, day.Add(time.Minute), "", nil); err != nil {
		t.Fatal(err)
	}
	bring(day.AddDate(0, 0, -5))
	if got := last(); got != own {
		t.Errorf("run %d, want %d", got, own)
	}
}
