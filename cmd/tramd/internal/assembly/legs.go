package assembly

import (
	"fmt"
	"maps"

	"tramd/cmd/tramd/internal/config"
	"tramd/cmd/tramd/internal/session"
)

// typedBy reports whether a person reads the dial and types.
func typedBy(cfg *config.Config, w Wanted) bool {
	return w.Typed || cfg.Angle.Source == config.SourceTyped
}

// moving returns a planned measurement as one whose readings are taken while an axis moves along the places of each
// curve, where something says where it stands. A reading that is typed is taken at a place.
func moving(m session.Measurement, source string, typed bool) session.Measurement {
	if source == "" || typed || len(m.Places) == 0 {
		return m
	}
	m.Along, m.Legs = source, legs(m.Places)
	if source == config.PositionFeed { // where it turns round is marked too
		for i := range m.Legs {
			m.Legs[i].Follows = false
		}
	}
	m.Places = nil
	return m
}

// legs joins the places of each curve to the ways that an axis goes along them: there, and back where it is turned
// round on the way.
func legs(places []session.Place) []session.Leg {
	var out []session.Leg
	for first := 0; first < len(places); {
		last := first + 1
		for last < len(places) && sameCurve(places[first], places[last]) {
			last++
		}
		curve := places[first:last]
		for from, follows := 0, false; from < len(curve)-1; follows = true {
			to := from + 1
			for to+1 < len(curve) && (curve[to+1].At > curve[to].At) == (curve[to].At > curve[to-1].At) {
				to++
			}
			out = append(out, leg(curve, from, to, follows))
			from = to
		}
		first = last
	}
	return out
}

func sameCurve(a, b session.Place) bool {
	for name, x := range a.Numbers {
		if name != "position_mm" && b.Numbers[name] != x {
			return false
		}
	}
	return maps.Equal(a.Words, b.Words)
}

func leg(curve []session.Place, from, to int, follows bool) session.Leg {
	p := curve[from]
	p.Numbers = maps.Clone(p.Numbers)
	delete(p.Numbers, "position_mm")
	a, b := curve[from].At, curve[to].At
	p.Name = fmt.Sprintf("%g to %g mm", a, b)
	if p.Group != "" {
		p.Name = p.Group + ", " + p.Name
	}
	return session.Leg{Place: p, FromMM: a, ToMM: b, Follows: follows}
}
