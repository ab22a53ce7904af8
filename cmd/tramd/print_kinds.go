package main

import (
	"encoding/json"
	"fmt"
	"io"
	"math"
	"strings"

	"tramd/cmd/tramd/internal/assembly"
	"tramd/sweep"
	"tramd/sweep/bar"
	"tramd/sweep/travel"
	"tramd/sweep/traverse"
	"tramd/sweep/units"
)

// text is what is written for a person, a line at a time.
type text struct{ strings.Builder }

func (t *text) line(format string, args ...any) {
	fmt.Fprintf(t, format, args...)
	t.WriteByte('\n')
}

// finding is a stored result of whatever kind, ready to be written.
type finding struct {
	verdict sweep.Verdict
	print   func(w io.Writer, title string) error
}

// decodeFinding reads a stored result of a kind.
func decodeFinding(kind string, raw []byte, tolerance string) (finding, error) {
	if assembly.Knows(kind) {
		r, err := assembly.Decode(kind, raw)
		if err != nil {
			return finding{}, err
		}
		return finding{r.Verdict(), func(w io.Writer, title string) error { return printOther(w, title, r) }}, nil
	}
	var r sweep.Result
	if err := json.Unmarshal(raw, &r); err != nil {
		return finding{}, fmt.Errorf("result of a %s: %w", kind, err)
	}
	tol, err := units.ParseTolerance(tolerance)
	return finding{r.Verdict, func(w io.Writer, title string) error { return printResult(w, title, r, tol) }}, err
}

func printOther(w io.Writer, title string, r assembly.Result) error {
	switch {
	case r.Traverse != nil:
		return printTraverse(w, title, r.Traverse)
	case r.Bar != nil:
		return printBar(w, title, r.Bar)
	}
	return printTravel(w, title, r.Travel)
}

func judged(v sweep.Verdict) string {
	if v == sweep.None || v == "" {
		return ""
	}
	return ": " + string(v)
}

func (t *text) slope(name string, a *sweep.Axis) {
	if a == nil {
		t.line("  %-12s not measured", name)
		return
	}
	t.line("  %-12s %+9.4f mm/m ± %.4f (95 %%)%s", name, a.Slope.MMPerM(), a.Expanded.MMPerM(), judged(a.Verdict))
}

func (t *text) end(w io.Writer, readings, rejected int, v sweep.Verdict, warnings []sweep.Warning) error {
	t.WriteString(fmt.Sprintf("  %d readings", readings))
	if rejected > 0 {
		fmt.Fprintf(t, ", %d rejected", rejected)
	}
	t.line("%s", judged(v))
	for _, n := range warnings {
		t.line("  note: %s [%s]", n.Text, n.Code)
	}
	_, err := io.WriteString(w, t.String())
	return err
}

func printTraverse(w io.Writer, title string, r *traverse.Result) error {
	var t text
	t.line("%s", title)
	t.slope("slope", r.Slope)
	if s := r.Straightness; s != nil {
		t.line("  straightness %9.4f mm ± %.4f by the minimum zone (%.4f by least squares, %.4f by the end points)%s",
			s.MinimumZone, s.U, s.LeastSquares,
			s.EndPoints, judged(s.Verdict))
		t.line("  bend         %+9.4f mm in the middle of %.0f mm", r.BendMM, r.LengthMM)
	} else {
		t.line("  straightness not measured")
	}
	if len(r.Lines) > 1 {
		for _, l := range r.Lines {
			t.slope(fmt.Sprintf("at %g mm", l.AtMM), l.Slope)
			if s := l.Straightness; s != nil {
				t.line("               straight within %.4f mm ± %.4f%s", s.MinimumZone, s.U, judged(s.Verdict))
			}
		}
		t.slope("twist", r.Twist)
		t.slope("cross slope", r.CrossSlope)
		if f := r.Flatness; f != nil {
			t.line("  flatness     %9.4f mm ± %.4f by the minimum zone (%.4f by least squares)%s", f.MinimumZone, f.U,
				f.LeastSquares, judged(f.Verdict))
		}
	}
	if r.EdgeSlope != nil {
		t.slope("edge itself", r.EdgeSlope)
		for _, e := range r.EdgeForm {
			t.line("    edge at %8.1f mm %+8.4f mm (u %.4f)", e.PositionMM, e.MM, e.U)
		}
	}
	if s := r.Same; s != nil {
		t.line("  largest less smallest %.4f mm ± %.4f (at %g and %g mm)%s", s.RangeMM, s.U, s.LargestAt, s.SmallestAt,
			judged(s.Verdict))
	}
	return t.end(w, r.Readings, r.Rejected, r.Verdict, r.Warnings)
}

func printBar(w io.Writer, title string, r *bar.Result) error {
	var t text
	t.line("%s", title)
	set := func(name string, s *bar.Set) {
		if name != "" {
			t.line("  %s", name)
		}
		for _, h := range s.Heights {
			t.line("  at %8.2f mm: eccentricity %.4f mm ± %.4f towards %.0f°, run-out %.4f mm%s", h.AtMM,
				h.Eccentricity, h.U, h.TowardsDeg, h.RunOut, judged(h.Verdict))
		}
		if a := s.Angle; a != nil {
			t.line("  angle of the bar to the axis %.4f mm/m ± %.4f towards %.0f°%s", a.MMPerM, a.Expanded,
				a.TowardsDeg, judged(a.Verdict))
		}
		if n := s.AtNose; n != nil {
			t.line("  at the nose: eccentricity %.4f mm ± %.4f, run-out %.4f mm", n.Eccentricity, n.U, n.RunOut)
		}
	}
	set("", &r.Set)
	if r.Collet != nil {
		set("collet", r.Collet)
		set("bar itself", r.BarItself)
	}
	return t.end(w, r.Readings, r.Rejected, r.Verdict, r.Warnings)
}

func printTravel(w io.Writer, title string, r *travel.Result) error {
	var t text
	t.line("%s: %s", title, strings.ReplaceAll(r.Relation, "_", " "))
	t.slope("tilt", r.Tilt)
	t.slope("nod", r.Nod)
	if a := r.Artefact; a != nil {
		t.slope(r.Of+" tilt", a.Tilt)
		t.slope(r.Of+" nod", a.Nod)
	}
	for _, x := range []struct {
		name string
		mm   *float64
		u    *float64
	}{{"tilt", r.StraightMM.Tilt, r.StraightUMM.Tilt}, {"nod", r.StraightMM.Nod, r.StraightUMM.Nod}} {
		if x.mm != nil && !math.IsNaN(*x.mm) {
			t.line("  straight within %.4f mm ± %.4f (%s)", *x.mm, *x.u, x.name)
		}
	}
	return t.end(w, r.Readings, r.Rejected, r.Verdict, r.Warnings)
}
