package assembly

import (
	"fmt"
	"slices"
	"strings"

	"tramd/cmd/tramd/internal/session"
	"tramd/store"
	"tramd/sweep"
)

// SamplesAt returns readings with their places as the record keeps them.
func SamplesAt(pts []sweep.Point, spots *session.Spots) store.Samples {
	s := store.Samples{Points: slices.Clone(pts)}
	if len(pts) == 0 {
		return s
	}
	if spots.MM != nil {
		s.Columns = []store.Column{{Name: "position_mm", Values: spots.MM}}
	}
	for _, name := range []string{"position_mm", "line_mm", "edge", "height_mm", "side_deg", "turned_deg"} {
		_, number := spots.Places[0].Numbers[name]
		_, word := spots.Places[0].Words[name]
		own := store.Column{Name: name}
		for _, at := range spots.At {
			switch p := &spots.Places[at]; {
			case number:
				own.Values = append(own.Values, p.Numbers[name])
			case word:
				own.Words = append(own.Words, p.Words[name])
			}
		}
		if number || word {
			s.Columns = append(s.Columns, own)
		}
	}
	return s
}

// Measure fits the readings of an attended run.
func Measure(m session.Measurement, pts []sweep.Point, spots *session.Spots) (session.Found, error) {
	o, err := ParseOptions(m.Own)
	if err != nil {
		return session.Found{}, err
	}
	if len(pts) == 0 {
		return session.Found{}, fmt.Errorf("there are no readings")
	}
	r, err := Fit(m.Kind, SamplesAt(pts, spots), m.Setup, o)
	if err != nil {
		return session.Found{}, err
	}
	f, err := r.Finding()
	return session.Found{JSON: f.JSON, Model: f.Model, Version: f.Version, Verdict: r.Verdict(), Say: r.Brief()}, err
}

// Believed returns the readings that no doubt lies on: what was taken again counts no longer.
func Believed(s store.Samples, doubts []sweep.Doubt) store.Samples {
	if len(doubts) == 0 {
		return s
	}
	var out store.Samples
	keep := make([]int, 0, len(s.Points))
	for i, p := range s.Points {
		if !slices.ContainsFunc(doubts, func(d sweep.Doubt) bool { return p.T >= d.FromS && p.T <= d.ToS }) {
			keep = append(keep, i)
			out.Points = append(out.Points, p)
		}
	}
	for _, c := range s.Columns {
		own := store.Column{Name: c.Name}
		for _, i := range keep {
			if c.Words != nil {
				own.Words = append(own.Words, c.Words[i])
			} else {
				own.Values = append(own.Values, c.Values[i])
			}
		}
		out.Columns = append(out.Columns, own)
	}
	return out
}

// vague is the half width of an interval, in slope, above which readings say nothing yet.
const vague = 0.05

// Brief returns the result in one line.
func (r Result) Brief() string {
	var parts []string
	slope := func(name string, a *sweep.Axis) {
		if a != nil && a.Expanded < vague {
			parts = append(parts, fmt.Sprintf("%s %+.3f ± %.3f mm/m", name, a.Slope.MMPerM(), a.Expanded.MMPerM()))
		}
	}
	switch {
	case r.Traverse != nil:
		t := r.Traverse
		if t.Same != nil {
			parts = append(parts, fmt.Sprintf("largest less smallest %.4f ± %.4f mm", t.Same.RangeMM, t.Same.U))
			break
		}
		slope("slope", t.Slope)
		if s := t.Straightness; s != nil {
			parts = append(parts, fmt.Sprintf("straight within %.4f ± %.4f mm", s.MinimumZone, s.U))
		}
		slope("twist", t.Twist)
	case r.Bar != nil:
		for _, h := range r.Bar.Heights {
			parts = append(parts, fmt.Sprintf("run-out %.4f ± %.4f mm at %g mm", h.RunOut, 2*h.U, h.AtMM))
		}
		if a := r.Bar.Angle; a != nil {
			parts = append(parts, fmt.Sprintf("angle %.3f ± %.3f mm/m", a.MMPerM, a.Expanded))
		}
	default:
		slope("tilt", r.Travel.Tilt)
		slope("nod", r.Travel.Nod)
	}
	return strings.Join(parts, ", ")
}
