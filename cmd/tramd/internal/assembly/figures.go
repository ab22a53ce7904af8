package assembly

import (
	"fmt"
	"math"

	"tramd/cmd/tramd/internal/api"
	"tramd/sweep"
)

// figures collects those that are known.
type figures []api.Figure

func (fs *figures) slope(name string, a *sweep.Axis) {
	if a != nil {
		*fs = append(*fs, api.Figure{Name: name, Value: a.Slope.MMPerM(), U: a.Expanded.MMPerM(), Unit: "mm/m",
			Verdict: a.Verdict})
	}
}

func (fs *figures) mm(name string, value, u float64, v sweep.Verdict) {
	if !math.IsNaN(value) && !math.IsNaN(u) {
		*fs = append(*fs, api.Figure{Name: name, Value: value, U: u, Unit: "mm", Verdict: v})
	}
}

// Figures returns every number of a result, the one that it is mostly asked for first.
func (r Result) Figures() []api.Figure {
	var fs figures
	switch {
	case r.Traverse != nil:
		t := r.Traverse
		if t.Same != nil {
			fs.mm("largest less smallest", t.Same.RangeMM, t.Same.U, t.Same.Verdict)
		}
		fs.slope("slope", t.Slope)
		if s := t.Straightness; s != nil {
			fs.mm("straightness", s.MinimumZone, s.U, s.Verdict)
		}
		if len(t.Lines) > 1 {
			for _, l := range t.Lines {
				fs.slope(fmt.Sprintf("slope at %g mm", l.AtMM), l.Slope)
			}
		}
		fs.slope("twist", t.Twist)
		fs.slope("cross slope", t.CrossSlope)
		if f := t.Flatness; f != nil {
			fs.mm("flatness", f.MinimumZone, f.U, f.Verdict)
		}
	case r.Bar != nil:
		b := r.Bar
		for _, h := range b.Heights {
			// twice the eccentricity, and so is its interval
			fs.mm(fmt.Sprintf("run-out at %g mm", h.AtMM), h.RunOut, 2*h.U, h.Verdict)
		}
		if a := b.Angle; a != nil {
			fs = append(fs, api.Figure{Name: "angle to the axis", Value: a.MMPerM, U: a.Expanded, Unit: "mm/m",
				Verdict: a.Verdict})
		}
		if n := b.AtNose; n != nil {
			fs.mm("run-out at the nose", n.RunOut, 2*n.U, sweep.None)
		}
	case r.Travel != nil:
		fs.slope("tilt", r.Travel.Tilt)
		fs.slope("nod", r.Travel.Nod)
		for _, x := range []struct {
			name  string
			mm, u *float64
		}{{"straightness, tilt", r.Travel.StraightMM.Tilt, r.Travel.StraightUMM.Tilt},
			{"straightness, nod", r.Travel.StraightMM.Nod, r.Travel.StraightUMM.Nod}} {
			if x.mm != nil && x.u != nil {
				fs.mm(x.name, *x.mm, *x.u, sweep.None)
			}
		}
	}
	return fs
}

// SweepFigures returns the numbers of a sweep.
func SweepFigures(r *sweep.Result) []api.Figure {
	var fs figures
	fs.slope("tilt", r.Tilt)
	fs.slope("nod", r.Nod)
	return fs
}
