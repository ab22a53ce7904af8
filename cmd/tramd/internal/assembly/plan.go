package assembly

import (
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"strings"

	"tramd/cmd/tramd/internal/config"
	"tramd/cmd/tramd/internal/session"
	"tramd/sweep"
	"tramd/sweep/travel"
)

// Wanted is a named measurement of the configuration that a person asks for.
type Wanted struct {
	Kind  string // traverse, bar or travel
	Name  string // of a [[traverse]], [[bar]] or [[square]]; may be empty where there is only one
	Typed bool   // a plain dial is read, and its readings typed
}

// Plan returns the attended run of a named measurement: its places in the order that moves least, with the words that
// lead there.
func Plan(cfg *config.Config, w Wanted) (session.Measurement, error) {
	switch w.Kind {
	case sweep.KindTraverse:
		t, err := named("traverse", w.Name, cfg.Traverses, func(t *config.Traverse) *config.Measured {
			return &t.Measured
		})
		if err != nil {
			return session.Measurement{}, err
		}
		m, err := traversePlan(cfg, t, w.Typed)
		if err == nil && cfg.Stepped(t) {
			return stepped(cfg, t, m, w)
		}
		return moving(m, cfg.PositionsOf(t), typedBy(cfg, w)), err
	case sweep.KindBar:
		bars := slices.DeleteFunc(slices.Clone(cfg.Bars), func(b config.Bar) bool { return len(b.HeightsMM) == 0 })
		b, err := named("bar", w.Name, bars, func(b *config.Bar) *config.Measured { return &b.Measured })
		if err != nil {
			return session.Measurement{}, err
		}
		return barPlan(cfg, b, w.Typed)
	case sweep.KindTravel:
		return travelPlan(cfg, w)
	}
	return session.Measurement{}, fmt.Errorf(
		"%q is no measurement that is taken by hand: ask for a traverse, a bar or a travel", w.Kind)
}

// named finds a measurement of a kind by its name, or the only one.
func named[T any](kind, name string, all []T, of func(*T) *config.Measured) (*T, error) {
	known := make([]string, len(all))
	for i := range all {
		known[i] = of(&all[i]).Name
		if known[i] == name {
			return &all[i], nil
		}
	}
	switch {
	case len(all) == 0:
		return nil, fmt.Errorf("the configuration has no %s to be measured so: add a [[%s]] with its name and places",
			kind, kind)
	case name == "" && len(all) == 1:
		return &all[0], nil
	case name == "":
		return nil, fmt.Errorf("which %s? There are %s", kind, strings.Join(known, ", "))
	}
	return nil, fmt.Errorf("there is no %s %q to be measured so; there are %s", kind, name, strings.Join(known, ", "))
}

// begin returns a run without its places.
func begin(cfg *config.Config, kind string, m *config.Measured, typed bool, o Options) (session.Measurement, error) {
	own, err := json.Marshal(o)
	if err != nil {
		return session.Measurement{}, err
	}
	out := session.Measurement{Kind: kind, Subject: m.Name, Setup: cfg.Setup(), Indicator: cfg.IndicatorOf(m),
		Typed: typed, Own: own}
	s := &out.Setup
	s.Tolerance, s.StationsDeg, s.Steady, s.Surface, s.AngleSource = cfg.Limit(m), nil, nil, "", config.SourceStations
	ind := s.Indicators[out.Indicator]
	if typed || cfg.Angle.Source == config.SourceTyped {
		s.AngleSource = config.SourceTyped
		ind = sweep.Indicator{Name: "dial", RadiusMM: ind.RadiusMM, ResolutionMM: ind.ResolutionMM}
	}
	if m.ResolutionMM > 0 {
		ind.ResolutionMM = m.ResolutionMM
	}
	if m.MPEMM > 0 {
		ind.MPEMM = m.MPEMM
	}
	s.Indicators = []sweep.Indicator{ind}
	return out, nil
}

// there returns positions in the order in which they are visited: every second curve the other way, so that nothing is
// wound back.
func there(mm []float64, curve int, bothWays bool) []float64 {
	out := slices.Clone(mm)
	if bothWays {
		back := slices.Clone(mm)
		slices.Reverse(back)
		return append(out, back[1:]...)
	}
	if curve%2 == 1 {
		slices.Reverse(out)
	}
	return out
}

func traversePlan(cfg *config.Config, t *config.Traverse, typed bool) (session.Measurement, error) {
	o := Options{StraightnessMM: t.StraightnessMM, Same: t.Same, EdgeMPEMM: t.EdgeMPEMM}
	if t.Over == config.OverTable {
		o.Of = travel.OfTable
		out, err := begin(cfg, sweep.KindCross, &t.Measured, typed, o)
		for k, side := range t.SidesDeg {
			way := along(side)
			for i, x := range there(t.PositionsMM, k, t.BothWays) {
				p := session.Place{Name: fmt.Sprintf("%g mm %s", x, way),
					Do: fmt.Sprintf("Run the machine %s to %g mm", way, x),
					At: x, Group: way, Deg: math.NaN(), Numbers: map[string]float64{"position_mm": x, "side_deg": side}}
				if i == 0 && k > 0 {
					p.Do = "Now the other way over the table. " + p.Do
				}
				out.Places = append(out.Places, p)
			}
		}
		return out, err
	}
	out, err := begin(cfg, sweep.KindTraverse, &t.Measured, typed, o)
	lines, edges := t.LinesMM, []string{""}
	if len(lines) == 0 {
		lines = []float64{0}
	}
	if t.EdgeTurned {
		edges = []string{"as_laid", "turned"}
	}
	curve := 0
	for e, edge := range edges {
		for k, line := range lines {
			for i, x := range there(t.PositionsMM, curve, t.BothWays) {
				p := session.Place{Name: fmt.Sprintf("%g mm", x), Do: fmt.Sprintf("Move the indicator to %g mm", x),
					At: x, Deg: math.NaN(),
					Numbers: map[string]float64{"position_mm": x}}
				if len(lines) > 1 {
					p.Numbers["line_mm"] = line
					p.Group = fmt.Sprintf("line %g mm", line)
					on := fmt.Sprintf(" on the line at %g mm", line)
					p.Name, p.Do = p.Name+on, p.Do+on
				}
				if edge != "" {
					p.Words = map[string]string{"edge": edge}
				}
				if edge == "turned" {
					p.Name += ", edge turned"
					p.Group = strings.TrimPrefix(p.Group+", edge turned", ", ")
					if i == 0 && k == 0 && e > 0 {
						p.Do = "Turn the edge end for end and face about, and lay it down again. " + p.Do
					}
				}
				out.Places = append(out.Places, p)
			}
			curve++
		}
	}
	return out, err
}

func barPlan(cfg *config.Config, b *config.Bar, typed bool) (session.Measurement, error) {
	out, err := begin(cfg, sweep.KindBar, &b.Measured, typed, Options{RunOutMM: b.RunOutMM, NoseMM: b.NoseMM})
	ways := []float64{0}
	if b.Rechucked {
		ways = append(ways, 180)
	}
	for _, turned := range ways {
		for k, h := range b.HeightsMM {
			for i, deg := range b.AnglesDeg {
				p := session.Place{Name: fmt.Sprintf("%g mm, %g°", h, deg),
					Do: fmt.Sprintf("Turn the spindle by hand until its %g° mark faces the indicator", deg),
					At: deg, Group: fmt.Sprintf("height %g mm", h), Deg: deg,
					Numbers: map[string]float64{"height_mm": h}}
				if i == 0 {
					p.Do = fmt.Sprintf("Set the indicator at height %g mm. ", h) + p.Do
				}
				if b.Rechucked {
					p.Numbers["turned_deg"] = turned
				}
				if turned == 180 {
					p.Name, p.Group = p.Name+", put back turned", p.Group+", put back turned"
					if i == 0 && k == 0 {
						p.Do = "Take the bar out and put it back turned by 180° in the collet. " + p.Do
					}
				}
				out.Places = append(out.Places, p)
			}
		}
	}
	return out, err
}

// travelPlan is of a bar or a square while the head moves.
func travelPlan(cfg *config.Config, w Wanted) (out session.Measurement, err error) {
	type headed struct {
		*config.Measured
		*config.Moving
		of string
	}
	var all []headed
	for i := range cfg.Bars {
		if b := &cfg.Bars[i]; len(b.TravelMM) > 0 {
			all = append(all, headed{&b.Measured, &b.Moving, travel.OfBar})
		}
	}
	for i := range cfg.Squares {
		all = append(all, headed{&cfg.Squares[i].Measured, &cfg.Squares[i].Moving, travel.OfSquare})
	}
	m, err := named("bar or square", w.Name, all, func(m *headed) *config.Measured { return m.Measured })
	if err != nil {
		return session.Measurement{}, err
	}
	out, err = begin(cfg, sweep.KindTravel, m.Measured, w.Typed, Options{Of: m.of, Artefact: m.Lean})
	defer func() { out = moving(out, cfg.PositionsOfTravel(m.Moving), typedBy(cfg, w)) }()
	ways := []float64{0}
	if *m.Turned {
		ways = append(ways, 180)
	}
	turn := map[string]string{travel.OfBar: "Turn the spindle with its bar by 180°. ",
		travel.OfSquare: "Turn the square by 180° about the vertical, and touch it from the same side. "}[m.of]
	curve := 0
	for k, side := range m.SidesDeg {
		order := slices.Clone(ways)
		if k%2 == 1 { // turned once for each side, and never back in between
			slices.Reverse(order)
		}
		for a, turned := range order {
			for i, x := range there(m.TravelMM, curve, false) {
				p := session.Place{Name: fmt.Sprintf("%g mm, side %g°", x, side),
					Do: fmt.Sprintf("Move the head to %g mm", x), At: x, Deg: math.NaN(),
					Group:   fmt.Sprintf("side %g°", side),
					Numbers: map[string]float64{"position_mm": x, "side_deg": side, "turned_deg": turned}}
				if turned == 180 {
					p.Name, p.Group = p.Name+", turned", p.Group+", turned"
				}
				switch {
				case i == 0 && a == 0:
					p.Do = fmt.Sprintf("Set the indicator against the %s of the %s. ", sideName(side), m.of) + p.Do
				case i == 0:
					p.Do = turn + p.Do
				}
				out.Places = append(out.Places, p)
			}
			curve++
		}
	}
	return out, err
}

func sideName(deg float64) string {
	switch math.Mod(deg+360, 360) {
	case 0:
		return "right side (0°, +X)"
	case 90:
		return "back side (90°, +Y)"
	case 180:
		return "left side (180°, -X)"
	case 270:
		return "front side (270°, -Y)"
	}
	return fmt.Sprintf("side at %g°", deg)
}

func along(deg float64) string {
	switch math.Mod(deg+360, 360) {
	case 0:
		return "along X"
	case 90:
		return "along Y"
	}
	return fmt.Sprintf("along %g°", deg)
}
