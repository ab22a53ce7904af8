package store

import (
	"errors"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"tramd/sweep"
)

// A sweep that was taken here, exported and brought in again is noticed and named, with the stretch that was doubted
// and from another origin of time too; one that differs in its last reading is another sweep.
func TestATakenSweepThatComesBackIsNoticed(t *testing.T) {
	s := fresh(t)
	pts := handTurned(rand.New(rand.NewPCG(5, 6)), 13000) // more than a turn
	id := begin(t, s)
	for k := 0; k < len(pts); k += 1000 {
		if err := s.AppendPoints(t.Context(), id, pts[k:min(k+1000, len(pts))]); err != nil {
			t.Fatal(err)
		}
	}
	d := sweep.Doubt{Code: sweep.DoubtMissedCounts, FromS: 3, ToS: 3.5, Text: "counts were lost"}
	if err := errors.Join(s.AddDoubt(t.Context(), id, d), s.FinishRun(t.Context(), id, Finished, day.Add(time.Minute),
		"", nil)); err != nil {
		t.Fatal(err)
	}
	out, err := s.Points(t.Context(), id)
	if err != nil {
		t.Fatal(err)
	}
	later := append([]sweep.Point(nil), out...)
	for i := range later {
		later[i].T -= 7
	}
	for name, again := range map[string][]sweep.Point{"as it was": out, "another origin of time": later} {
		_, err := s.ImportRun(t.Context(), importOf(t, "run-1.csv", day, again))
		if !errors.Is(err, ErrImported) ||
			!strings.Contains(err.Error(), "run 1, taken here on "+day.Local().Format("2006-01-02")) {
			t.Errorf("%s: %v", name, err)
		}
	}
	im := importOf(t, "run-1.csv", day, out)
	im.Again = true
	if _, err := s.ImportRun(t.Context(), im); err != nil {
		t.Errorf("asked for again: %v", err)
	}
	other := append([]sweep.Point(nil), out...)
	other[len(other)-1].Reading += 1e-6
	if _, err := s.ImportRun(t.Context(), importOf(t, "other.csv", day, other)); err != nil {
		t.Errorf("a last reading that differs by a nanometre: %v", err)
	}
}
