package assembly

import (
	"database/sql"
	"path/filepath"
	"testing"
	"time"

	"tramd/cmd/tramd/internal/config"
	"tramd/store"
	"tramd/sweep"
	"tramd/sweep/advice"
	"tramd/sweep/traverse"
)

// An event whose row is spoiled may have been logged at any time: no measurement before or after it teaches what an
// adjuster does, at a joint as at the head.
func TestASpoiledEventLeavesNothingToLearnFrom(t *testing.T) {
	t.Parallel()
	ctx, path := t.Context(), filepath.Join(t.TempDir(), "linnet.db")
	cfg, err := config.Parse("linnet.toml", []byte(planned))
	if err != nil {
		t.Fatal(err)
	}
	s, err := store.Open(ctx, path, store.Options{BootID: "boot-1"})
	if err != nil {
		t.Fatal(err)
	}
	day := time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC)
	slope := &sweep.Axis{Slope: 0.2e-3, U: 1e-5, Expanded: 2e-5}
	for n := range 3 {
		id, err := s.BeginRun(ctx, store.NewRun{Kind: sweep.KindTraverse, Subject: "rail", Purpose: "check",
			Setup: cfg.Setup(), StartedAt: day.AddDate(0, 0, n), ClockSet: true})
		if err != nil {
			t.Fatal(err)
		}
		found, err := Result{Traverse: &traverse.Result{Kind: sweep.KindTraverse, Slope: slope, Twist: slope}}.Finding()
		if err != nil {
			t.Fatal(err)
		}
		if err := s.FinishRunWith(ctx, id, store.Finished, day.AddDate(0, 0, n).Add(time.Hour), "",
			&found); err != nil {
			t.Fatal(err)
		}
		if n == 1 {
			if _, err := s.AddEvent(ctx, store.Event{At: day.AddDate(0, 0, 1).Add(2 * time.Hour), Kind: "adjusted",
				Moved: map[string]float64{"bolts": 0.1}}); err != nil {
				t.Fatal(err)
			}
		}
	}
	unrecorded := func(s *store.Store) (out []bool) {
		t.Helper()
		j, err := jointOf(cfg, "rail")
		if err != nil {
			t.Fatal(err)
		}
		var p advice.Problem
		if _, err := j.history(ctx, s, cfg, &p); err != nil {
			t.Fatal(err)
		}
		for _, h := range p.History {
			out = append(out, h.Unrecorded)
		}
		return out
	}
	if got := unrecorded(s); len(got) != 3 || got[0] || got[1] || got[2] {
		t.Errorf("with a sound event: %v", got)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	db, err := sql.Open("sqlite3", path)
	if err != nil {
		t.Fatal(err)
	}
	var trigger string
	if err := db.QueryRowContext(ctx, "SELECT sql FROM sqlite_schema WHERE name = 'event_sum_set'").Scan(
		&trigger); err != nil {
		t.Fatal(err)
	}
	for _, text := range []string{"DROP TRIGGER event_sum_set", "UPDATE event SET at_us = 0, moved = '{}'", trigger} {
		if _, err := db.ExecContext(ctx, text); err != nil {
			t.Fatal(err)
		}
	}
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
	if s, err = store.Open(ctx, path, store.Options{BootID: "boot-1"}); err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	if got := unrecorded(s); len(got) != 3 || !got[0] || !got[1] || !got[2] {
		t.Errorf("with a spoiled event: %v", got)
	}
}
