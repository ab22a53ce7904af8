package assembly

import (
	"path/filepath"
	"strings"
	"testing"
	"time"

	"tramd/cmd/tramd/internal/config"
	"tramd/store"
	"tramd/sweep"
	"tramd/sweep/bar"
)

// A collet that wears lets the bar run out more from week to week, while its angle holds: the run-out has an alarm and
// a date of its own, in millimetres.
func TestRunOutHasItsOwnAlarmAndDate(t *testing.T) {
	t.Parallel()
	ctx := t.Context()
	cfg, err := config.Parse("linnet.toml", []byte(planned))
	if err != nil {
		t.Fatal(err)
	}
	s, err := store.Open(ctx, filepath.Join(t.TempDir(), "linnet.db"), store.Options{BootID: "boot-1"})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	day := time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC)
	check := func(n int, runOutMM float64) {
		t.Helper()
		at := day.AddDate(0, 0, 7*n)
		id, err := s.BeginRun(ctx, store.NewRun{Kind: sweep.KindBar, Subject: "shank", Purpose: "check",
			Setup: cfg.Setup(), Own: []byte(`{"run_out_mm":0.02}`), StartedAt: at, ClockSet: true})
		if err != nil {
			t.Fatal(err)
		}
		found, err := Result{Bar: &bar.Result{Kind: sweep.KindBar,
			Set: bar.Set{Angle: &bar.Angle{MMPerM: 0.01, U: 0.01},
				Heights: []bar.Height{{AtMM: 20, Eccentricity: runOutMM / 4, RunOut: runOutMM / 2, U: 0.0004},
					{AtMM: 45, Eccentricity: runOutMM / 2, RunOut: runOutMM, U: 0.0004}}}}}.Finding()
		if err != nil {
			t.Fatal(err)
		}
		if err := s.FinishRunWith(ctx, id, store.Finished, at.Add(time.Hour), "", &found); err != nil {
			t.Fatal(err)
		}
	}
	of := func(kind string) Standing {
		t.Helper()
		all, err := Standings(ctx, s, cfg)
		if err != nil {
			t.Fatal(err)
		}
		for _, x := range all {
			if x.Kind == kind && x.Name == "shank" {
				return x
			}
		}
		t.Fatalf("nothing stands for %s: %+v", kind, all)
		return Standing{}
	}
	for n, mm := range []float64{0.0050, 0.0054, 0.0047, 0.0052, 0.0049, 0.0051, 0.0048, 0.0053} {
		check(n, mm)
	}
	if x := of(RunOut); len(x.Alarms) != 0 || x.Next == nil || !x.Next.Time.After(day.AddDate(0, 0, 49)) {
		t.Fatalf("while it holds: %+v", x)
	}
	for n, mm := range []float64{0.026, 0.0262, 0.0258} {
		check(8+n, mm)
	}
	x := of(RunOut)
	var said []string
	for _, a := range x.Alarms {
		said = append(said, a.Text())
	}
	text := strings.Join(said, "; ")
	if !strings.Contains(text, "run-out is outside its tolerance since") ||
		!strings.Contains(text, "run-out moved by +0.0") || strings.Contains(text, "mm/m") {
		t.Errorf("after it jumped: %q", text)
	}
	if x := of(sweep.KindBar); len(x.Alarms) != 0 {
		t.Errorf("the angle held: %+v", x)
	}
	job, err := JobOf(ctx, s, cfg)
	if err != nil {
		t.Fatal(err)
	}
	shown := false
	for _, st := range job.Steps {
		shown = shown || st.Of == "shank" && st.Kind == sweep.KindBar &&
			strings.Contains(strings.Join(st.Alarms, "; "), "run-out is outside") && st.Due != nil
	}
	if !shown {
		t.Errorf("the job does not say it: %+v", job.Steps)
	}
}
