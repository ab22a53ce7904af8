package config

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"tramd/sweep/units"
)

const maxPlaces = 2000 // readings of one measurement by hand

func (v *validator) assembly(c *Config) {
	names := map[string]string{}
	for i := range c.Traverses {
		t := &c.Traverses[i]
		at := fmt.Sprintf("traverse.%d.", i)
		v.measured(c, at, "traverse", &t.Measured, names)
		v.traverse(at, t)
	}
	for i := range c.Bars {
		b := &c.Bars[i]
		at := fmt.Sprintf("bar.%d.", i)
		v.measured(c, at, "bar", &b.Measured, names)
		v.bar(at, b)
	}
	for i := range c.Squares {
		q := &c.Squares[i]
		at := fmt.Sprintf("square.%d.", i)
		v.measured(c, at, "square", &q.Measured, names)
		if len(q.TravelMM) == 0 {
			v.bad(at+"travel_mm",
				"missing; write how far the head is up at each reading, for example travel_mm = [0, 40, 80, 120]")
			continue
		}
		v.moving(at, &q.Moving)
	}
	v.movers(c)
	v.steps(c)
}

// movers checks that what moves a slope or a twist is named by a traverse that shows it.
func (v *validator) movers(c *Config) {
	for i := range c.Adjusters {
		a := &c.Adjusters[i]
		if a.Moves == "" {
			continue
		}
		named := false
		for k := range c.Traverses {
			t := &c.Traverses[k]
			if !slices.Contains(t.Adjusters, a.Name) {
				continue
			}
			named = true
			switch {
			case t.Over == OverTable:
				v.bad(fmt.Sprintf("adjuster.%d.moves", i),
					"the traverse %q runs over the table and shows tilt and nod; write leans instead", t.Name)
			case a.Moves != MovesSlope && len(t.LinesMM) < 2:
				v.bad(fmt.Sprintf("adjuster.%d.moves", i),
					"the traverse %q has one line, which shows no %s; give it lines_mm, for example lines_mm = [0, 160]", t.Name, a.Moves)
			case a.Moves == MovesTwist && c.Across(&t.Measured) != MovesTwist:
				v.bad(fmt.Sprintf("adjuster.%d.moves", i),
					"another adjuster of the traverse %q moves its cross slope; two things are aimed at together at most: measure one of them by a traverse of its own", t.Name)
			}
		}
		if !named {
			v.bad(fmt.Sprintf("adjuster.%d.moves", i),
				"no [[traverse]] names this adjuster; write its name in the adjusters of the traverse that shows what it moves, or write leans")
		}
	}
}

// measured checks what all have in common. Names are shared by all kinds, so that one name means one thing.
func (v *validator) measured(c *Config, at, kind string, m *Measured, names map[string]string) {
	switch other, taken := names[m.Name]; {
	case m.Name == "" || len(m.Name) > 64 || strings.ContainsAny(m.Name, "\n\r\t\"\\"):
		v.bad(at+"name", `%q; write a short name, for example name = "left rail"`, m.Name)
	case taken:
		v.bad(at+"name", "%q is the name of a %s already; give each its own", m.Name, other)
	}
	names[m.Name] = kind
	if m.Axis != "" && m.Axis != AxisTilt && m.Axis != AxisNod {
		v.bad(at+"axis", `%q is no axis; write "tilt" (left-right) or "nod" (front-back), or leave it out`, m.Axis)
	}
	if _, err := units.ParseTolerance(m.Tolerance); err != nil {
		v.bad(at+"tolerance", "%v", err)
	}
	if m.Indicator != "" && !slices.ContainsFunc(c.Indicators, func(x Indicator) bool {
		return x.Name == m.Indicator
	}) {
		known := make([]string, len(c.Indicators))
		for i := range c.Indicators {
			known[i] = c.Indicators[i].Name
		}
		v.notThere(at+"indicator", "indicator", m.Indicator, known)
	}
	v.optional(at+"resolution_mm", m.ResolutionMM, 1e-6, 1)
	v.number(at+"mpe_mm", m.MPEMM, 0, 1)
	known := make([]string, len(c.Adjusters))
	for i := range c.Adjusters {
		known[i] = c.Adjusters[i].Name
	}
	for _, a := range m.Adjusters {
		if !slices.Contains(known, a) {
			v.notThere(at+"adjusters", "adjuster", a, known)
		}
	}
}

// notThere says that a name is not known, and which one was probably meant.
func (v *validator) notThere(path, what, name string, known []string) {
	switch best := closest(name, known); {
	case best != "":
		v.bad(path, "there is no %s %q; did you mean %q?", what, name, best)
	case len(known) == 0:
		v.bad(path, "there is no %s %q; add it as [[%s]], or remove this", what, name, what)
	default:
		v.bad(path, "there is no %s %q; there are %s", what, name, strings.Join(known, ", "))
	}
}

func (v *validator) traverse(at string, t *Traverse) {
	v.places(at+"positions_mm", "positions", t.PositionsMM, 2, "positions_mm = [0, 100, 200, 300]")
	if len(t.LinesMM) > 0 {
		v.places(at+"lines_mm", "lines", t.LinesMM, 1, "lines_mm = [0, 180]")
	}
	n := len(t.PositionsMM) * max(1, len(t.LinesMM)) * max(1, len(t.SidesDeg))
	if t.EdgeTurned {
		n *= 2
	}
	if n > maxPlaces {
		v.bad(at+"positions_mm", "%d readings in all; at most %d can be taken by hand", n, maxPlaces)
	}
	v.number(at+"edge_mpe_mm", t.EdgeMPEMM, 0, 100)
	v.optional(at+"straightness_mm", t.StraightnessMM, 1e-5, 100)
	switch t.Over {
	case "":
		if len(t.SidesDeg) > 0 {
			v.bad(at+"sides_deg", `only a traverse over the table has sides; remove it, or write over = "table"`)
		}
	case OverTable:
		v.sides(at+"sides_deg", t.SidesDeg)
		for key, used := range map[string]bool{"lines_mm": len(t.LinesMM) > 0, "edge_turned": t.EdgeTurned,
			"same": t.Same, "edge_mpe_mm": t.EdgeMPEMM != 0} {
			if used {
				v.bad(at+key, `has no use in a traverse over the table; remove it`)
			}
		}
	default:
		v.bad(
			at+"over",
			`%q; write over = "table" where the machine's own travels carry the indicator over the table, or leave it out`, t.Over)
	}
	if t.Same && t.EdgeTurned {
		v.bad(at+"edge_turned", "with same = true there is no edge to turn; remove one of the two")
	}
}

func (v *validator) bar(at string, b *Bar) {
	if len(b.HeightsMM) == 0 && len(b.TravelMM) == 0 {
		v.bad(at+"heights_mm",
			"missing; write where the indicator stands while the bar turns, for example heights_mm = [10, 35], or travel_mm for the head moving")
	}
	if len(b.HeightsMM) > 0 {
		v.places(at+"heights_mm", "heights", b.HeightsMM, 1, "heights_mm = [10, 35]")
	}
	if n := len(b.AnglesDeg); n < 3 || n > 360 {
		v.bad(at+"angles_deg", "%d angles; write 3 to 360, for example angles_deg = [0, 90, 180, 270]", n)
	} else {
		v.apart(at+"angles_deg", b.AnglesDeg)
	}
	if b.NoseMM != nil {
		v.number(at+"nose_mm", *b.NoseMM, -1e5, 1e5)
	}
	v.optional(at+"run_out_mm", b.RunOutMM, 1e-5, 100)
	if len(b.HeightsMM)*len(b.AnglesDeg) > maxPlaces {
		v.bad(at+"heights_mm", "%d readings in all; at most %d can be taken by hand", len(b.HeightsMM)*len(b.AnglesDeg),
			maxPlaces)
	}
	v.moving(at, &b.Moving)
}

func (v *validator) moving(at string, m *Moving) {
	if len(m.TravelMM) > 0 {
		v.places(at+"travel_mm", "positions", m.TravelMM, 2, "travel_mm = [0, 40, 80, 120]")
	}
	v.sides(at+"sides_deg", m.SidesDeg)
	if m.Lean != "" {
		if _, err := units.ParseTolerance(m.Lean); err != nil {
			v.bad(at+"lean", "%v", err)
		}
	}
}

// places checks positions or heights: finite, and no two the same.
func (v *validator) places(path, what string, mm []float64, least int, example string) {
	if len(mm) < least || len(mm) > maxPlaces {
		v.bad(path, "%d %s; write %d to %d, for example %s", len(mm), what, least, maxPlaces, example)
		return
	}
	for i, x := range mm {
		if !(math.Abs(x) <= 1e5) {
			v.bad(path, "%v mm is out of range; write mm, from -100000 to 100000", x)
			return
		}
		if slices.Contains(mm[:i], x) {
			v.bad(path, "%v mm stands there twice; write each place once", x)
			return
		}
	}
}

func (v *validator) sides(path string, degs []float64) {
	if len(degs) == 0 || len(degs) > 36 {
		v.bad(path, "%d sides; write 1 to 36, for example sides_deg = [0, 90]", len(degs))
		return
	}
	v.apart(path, degs)
}

// apart checks angles round the circle: finite, and no two the same.
func (v *validator) apart(path string, degs []float64) {
	for i, d := range degs {
		if !(math.Abs(d) <= 360) {
			v.bad(path, "%v is not an angle; write degrees from -360 to 360", d)
			return
		}
		for _, e := range degs[:i] {
			if math.Abs(math.Remainder(d-e, 360)) < 1 {
				v.bad(path, "%v and %v are the same place; write each once", e, d)
				return
			}
		}
	}
}
