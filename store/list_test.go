package store

import (
	"encoding/json"
	"testing"

	"github.com/google/go-cmp/cmp"

	"tramd/sweep"
	"tramd/sweep/uncertainty"
)

// wholeResult is a result with everything that the full model says, as long as it commonly gets.
func wholeResult() *sweep.Result {
	r := resultOf(1e-4, -2e-5)
	r.Model = "full"
	for range 12 {
		c := uncertainty.Component{
			Name: "radius of the arm", Type: uncertainty.B, U: 0.5, Unit: "mm", Sensitivity: 8.3e-7, DoF: 50,
			Note: "as written in the setup",
		}
		r.Tilt.Budget, r.Nod.Budget = append(r.Tilt.Budget, c), append(r.Nod.Budget, c)
	}
	for i := range 8 {
		r.Form = append(r.Form, sweep.Harmonic{Order: i + 2, AmplitudeMM: 0.00123456, PhaseDeg: 12.3456789})
		r.Rejections = append(r.Rejections, sweep.Rejection{Code: "outlier", FromS: 1.2345, ToS: 2.3456, FromDeg: 10,
			ToDeg: 20, Readings: 3})
	}
	r.Turns = &sweep.Turns{Count: 2.01}
	return r
}

// A line says what the whole run says, but for what a list does not show, and of the newest result alone.
func TestAListSaysWhatTheRunsSay(t *testing.T) {
	s := fresh(t)
	none, one, two := begin(t, s), begin(t, s), begin(t, s)
	for _, id := range []int64{one, two} {
		if err := s.FinishRun(t.Context(), id, Finished, day, "", resultOf(1e-3, 1e-3)); err != nil {
			t.Fatal(err)
		}
	}
	if err := s.AddResult(t.Context(), two, *wholeResult()); err != nil {
		t.Fatal(err)
	}
	lines, err := s.List(t.Context(), 0, 10)
	if err != nil || len(lines) != 3 {
		t.Fatalf("%d lines, %v", len(lines), err)
	}
	for i, id := range []int64{two, one, none} {
		run, err := s.Run(t.Context(), id)
		if err != nil {
			t.Fatal(err)
		}
		if r := run.Result; r != nil {
			r.Rejections, r.Form, r.Turns = nil, nil, nil
			for _, a := range []*sweep.Axis{r.Tilt, r.Nod} {
				a.Budget = nil
			}
		}
		if diff := cmp.Diff(loose(t, run), loose(t, lines[i])); diff != "" {
			t.Errorf("run %d and its line differ:\n%s", id, diff)
		}
	}
	if page, err := s.List(t.Context(), two, 1); err != nil || len(page) != 1 || page[0].ID != one {
		t.Errorf("the line before run %d: %+v, %v", two, page, err)
	}
	if page, err := s.List(t.Context(), none, 5); err != nil || page == nil || len(page) != 0 {
		t.Errorf("before the first run: %v, %v; want an empty list", page, err)
	}
}

// loose is a value as a program that knows nothing of it reads its JSON.
func loose(t *testing.T, v any) (out any) {
	t.Helper()
	text, err := json.Marshal(v)
	if err == nil {
		err = json.Unmarshal(text, &out)
	}
	if err != nil {
		t.Fatal(err)
	}
	return out
}
