package store

import (
	"errors"
	"math"
	"testing"

	"tramd/sweep"
)

func TestDoubtedReadingsStayAndLoseTheirAngle(t *testing.T) {
	s := fresh(t)
	id := begin(t, s)
	var pts []sweep.Point
	for i := range 10 {
		pts = append(pts, sweep.Point{T: float64(i), Angle: float64(i) / 10, Reading: 0.1})
	}
	d := sweep.Doubt{Code: sweep.DoubtMissedCounts, FromS: 3, ToS: 5.0000004, Text: "counts were lost"}
	if err := errors.Join(s.AppendPoints(t.Context(), id, pts), s.AddDoubt(t.Context(), id, d)); err != nil {
		t.Fatal(err)
	}
	got, err := s.Points(t.Context(), id)
	if err != nil || len(got) != 10 {
		t.Fatalf("%d points, %v", len(got), err)
	}
	for i, p := range got {
		if doubted := i >= 3 && i <= 5; doubted != math.IsNaN(p.Angle) {
			t.Errorf("reading at %v s: angle %v", p.T, p.Angle)
		}
	}
	run, err := s.Run(t.Context(), id)
	if err != nil || len(run.Doubts) != 1 || run.Doubts[0].Code != d.Code || run.Doubts[0].Text != d.Text {
		t.Errorf("%+v %v", run.Doubts, err)
	}
	for _, bad := range []sweep.Doubt{{FromS: 1, ToS: 2}, {Code: "x", FromS: 2, ToS: 1},
		{Code: "x", FromS: math.NaN(), ToS: 1}, {Code: "x", ToS: math.Inf(1)}} {
		if s.AddDoubt(t.Context(), id, bad) == nil {
			t.Errorf("%+v was stored", bad)
		}
	}
	if err := s.AddDoubt(t.Context(), id+1, d); !errors.Is(err, ErrNotFound) {
		t.Errorf("of a run that is not there: %v", err)
	}
}
