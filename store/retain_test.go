package store

import (
	"fmt"
	"slices"
	"testing"

	"tramd/sweep"
)

// An event that no finished run came after, and sweeps brought in from files, keep no readings for ever.
func TestOldReadingsGoWhateverCameAfter(t *testing.T) {
	ctx := t.Context()
	s := fresh(t)
	var want []int64
	for n := range 4 {
		pts := []sweep.Point{{T: 1, Reading: 0.35}, {T: 2, Reading: 0.36 + float64(n)}}
		id, err := s.ImportRun(ctx, Import{
			NewRun: NewRun{Kind: "sweep", Purpose: "check", Setup: setupOf(t, "0.02/300"),
				StartedAt: day.AddDate(0, 0, n)},
			File: fmt.Sprintf("sweep%d.csv", n), Points: pts, Result: *resultOf(0, 0)})
		if err != nil {
			t.Fatal(err)
		}
		if n > 0 && n < 3 { // not the first of its setup, nor the last of its kind
			want = append(want, id)
		}
		if run, err := s.Run(ctx, id); err != nil || run.Origin != fmt.Sprintf("sweep%d.csv", n) || run.Note != "" {
			t.Errorf("%+v, %v", run, err)
		}
	}
	if _, err := s.AddEvent(ctx, Event{At: day.AddDate(0, 0, 20), Kind: "crashed"}); err != nil {
		t.Fatal(err)
	}
	if got, err := s.DropReadings(ctx, day.AddDate(0, 0, 30)); err != nil || !slices.Equal(got, want) {
		t.Errorf("let go %v, %v, want %v", got, err, want)
	}
}
