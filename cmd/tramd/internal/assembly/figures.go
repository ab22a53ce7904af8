package assembly

import (
	"fmt"
	"math"

	"tramd/sweep"
)

// Figure is one number that a measurement gives, with its uncertainty and verdict.
type Figure struct {
	Name    string        `json:"name"` // slope, straightness, tilt, run-out at 10 mm, ...
	Value   float64       `json:"value"`
	U       float64       `json:"U"`    // expanded, for 95 %
	Unit    string        `json:"unit"` // mm/m or mm
	Verdict sweep.Verdict `json:"verdict"`
}

// String returns the figure as people read it.
func (f Figure) String() string {
	digits, sign := 4, ""
	if f.Unit == "mm/m" {
		digits, sign = 3, "+"
	}
	return fmt.Sprintf("%s %"+sign+".*f ± %.*f %s", f.Name, digits, f.Value, digits, f.U, f.Unit)
}

// figures collects those that are known.
type figures []Figure

func (fs *figures) slope(name string, a *sweep.Axis) {
	if a != nil {
		*fs = append(*fs, Figure{name, a.Slope.MMPerM(), a.Expanded.MMPerM(), "mm/m", a.Verdict})
	}
}

func (fs *figures) mm(name string, value, u float64, v sweep.Verdict) {
	if !math.IsNaN(value) && !math.IsNaN(u) {
		*fs = append(*fs, Figure{name, value, u, "mm", v})
	}
}

// Figures returns every number of a result, the one that it is mostly asked for first.
func (r Result) Figures() []Figure {
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
			fs.mm(fmt.Sprintf("run-out at %g mm", h.AtMM), h.RunOut, 2*h.U, h.Verdict) // twice the eccentricity, and so is its interval
		}
		if a := b.Angle; a != nil {
			fs = append(fs, Figure{"angle to the axis", a.MMPerM, a.Expanded, "mm/m", a.Verdict})
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
		}{{"straightness, tilt", r.Travel.StraightMM.Tilt, r.Travel.StraightUMM.Tilt}, {"straightness, nod", r.Travel.StraightMM.Nod, r.Travel.StraightUMM.Nod}} {
			if x.mm != nil && x.u != nil {
				fs.mm(x.name, *x.mm, *x.u, sweep.None)
			}
		}
	}
	return fs
}

// SweepFigures returns the numbers of a sweep.
func SweepFigures(r *sweep.Result) []Figure {
	var fs figures
	fs.slope("tilt", r.Tilt)
	fs.slope("nod", r.Nod)
	return fs
}
