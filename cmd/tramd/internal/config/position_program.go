package config

import (
	"fmt"
	"reflect"

	"tramd/cmd/tramd/internal/motion"
)

// Steps holds the commands by which a motion controller moves an axis along a line, from place to place.
type Steps struct {
	Commands
	FeedMMPerMin float64  `toml:"feed_mm_per_min"`
	LowMM        *float64 `toml:"low_mm"` // soft limits, in the controller's coordinates
	HighMM       *float64 `toml:"high_mm"`
	// an indicator that reads the same over so many millimetres of motion stops it; 0: it does not
	FrozenMM *float64 `toml:"frozen_mm"`
}

func (p *Steps) setDefaults() {
	p.Commands.setDefaults()
	if p.FeedMMPerMin == 0 {
		p.FeedMMPerMin = 300
	}
}

// frozenMM is over how much motion an indicator may read the same: a display of thousandths of a millimetre changes
// within 100 mm on the truest edge, a coarser one need not change at all (common practice, no source).
func (p *Steps) frozenMM(resolutionMM float64) float64 {
	switch {
	case p.FrozenMM != nil:
		return *p.FrozenMM
	case resolutionMM <= 0.002:
		return 100
	}
	return 0
}

// StepProgram returns the program that moves the axis to the places of a traverse, one after the other, and watches its
// indicator; only for the position source of that name.
func (c *Config) StepProgram(t *Traverse, placesMM []float64) motion.Program {
	p := &c.Position.Program
	out := p.motion()
	out.Axis, out.Targets, out.Feed = motion.Carriage, placesMM, p.FeedMMPerMin
	if p.LowMM != nil && p.HighMM != nil {
		out.Low, out.High = *p.LowMM, *p.HighMM
	}
	ind := c.Indicators[c.IndicatorOf(&t.Measured)]
	resolution := ind.ResolutionMM
	if t.ResolutionMM > 0 {
		resolution = t.ResolutionMM
	}
	out.Indicators = []motion.Indicator{p.watched(ind.Name, p.frozenMM(resolution))}
	return out
}

// Stepped reports whether a motion controller moves the axis to the places of a traverse. It does so only where that is
// asked for in so many words.
func (c *Config) Stepped(t *Traverse) bool {
	return c.Position.Source == PositionProgram && t.ByHand != nil && !*t.ByHand
}

func (v *validator) positionProgram(c *Config) {
	p := &c.Position.Program
	only := c.Position
	only.Source, only.Program = "", Steps{}
	if !reflect.ValueOf(only).IsZero() {
		v.bad("position.source",
			`"program" has its keys in [position.program]; remove the others from [position], or write source = "scale"`)
	}
	before := len(v.found)
	v.commands("position.program", c, &p.Commands)
	v.number("position.program.feed_mm_per_min", p.FeedMMPerMin, 1, motion.Carriage.FeedMost())
	for what, port := range map[string]string{"the encoder": c.Angle.Port, "the trigger": c.Angle.TriggerPort} {
		if port != "" && port == p.Port {
			v.bad("position.program.port", "%s has the same port; the motion controller needs one of its own", what)
		}
	}
	if p.FrozenMM != nil {
		v.number("position.program.frozen_mm", *p.FrozenMM, 0, 1e5)
	}
	if p.LowMM == nil || p.HighMM == nil {
		v.bad("position.program.low_mm", "low_mm and high_mm are needed: write the positions the axis may be moved "+
			"between, in the controller's coordinates, for example 0.0 and 300.0")
	} else {
		v.number("position.program.low_mm", *p.LowMM, -1e5, 1e5)
		v.number("position.program.high_mm", *p.HighMM, -1e5, 1e5)
		if len(v.found) == before && !(*p.LowMM < *p.HighMM) {
			v.bad("position.program.high_mm",
				"%v is not above low_mm, %v; write the positions the axis may be moved between", *p.HighMM, *p.LowMM)
		}
	}
	sound, any := len(v.found) == before, false
	for i := range c.Traverses {
		if t := &c.Traverses[i]; c.Stepped(t) {
			any = true
			v.stepped(c, fmt.Sprintf("traverse.%d.", i), t, sound)
		}
	}
	if !any {
		v.bad("position.source", `"program" moves nothing yet: write by_hand = false in each [[traverse]] that the `+
			"controller is to move along, or remove the table [position]")
	}
	v.headByHand(c)
}

// headByHand refuses to have the head moved by the program, which knows one line.
func (v *validator) headByHand(c *Config) {
	const why = "the motion controller moves along a [[traverse]] only; remove by_hand here"
	for i := range c.Bars {
		if c.Bars[i].ByHand != nil && !*c.Bars[i].ByHand {
			v.bad(fmt.Sprintf("bar.%d.by_hand", i), why)
		}
	}
	for i := range c.Squares {
		if c.Squares[i].ByHand != nil && !*c.Squares[i].ByHand {
			v.bad(fmt.Sprintf("square.%d.by_hand", i), why)
		}
	}
}

// stepped judges a traverse that the controller moves along: nothing in it may need a hand on the way, since a hand
// there is in the way of what moves by itself.
func (v *validator) stepped(c *Config, at string, t *Traverse, sound bool) {
	const cure = "the controller moves along one line without a pause for a hand; write %s, or by_hand = true"
	ind := c.Indicators[c.IndicatorOf(&t.Measured)]
	switch {
	case len(t.LinesMM) > 1:
		v.bad(at+"lines_mm", cure, "a [[traverse]] for each line")
	case t.EdgeTurned:
		v.bad(at+"edge_turned", cure, "edge_turned = false")
	case t.Over == OverTable && len(t.SidesDeg) > 1:
		v.bad(at+"sides_deg", cure, "one of them")
	case ind.Port == "" || c.Angle.Source == SourceTyped:
		v.bad(at+"by_hand", "a dial whose readings are typed stops no motion; write by_hand = true")
	case ind.OnDemand:
		v.bad(at+"by_hand",
			"indicator %q is asked on demand only, so its readings stop no motion; remove ask_on_demand, or "+
				"write by_hand = true", ind.Name)
	}
	if !sound {
		return
	}
	low, high := *c.Position.Program.LowMM, *c.Position.Program.HighMM
	for _, x := range t.PositionsMM {
		limit := "low_mm"
		if x > high {
			limit = "high_mm"
		}
		if !(x >= low && x <= high) {
			v.bad("position.program."+limit, "the position at %v mm of %q lies outside the soft limits, %v to %v; "+
				"write wider limits if the axis may go there, or other positions_mm", x, t.Name, low, high)
			return
		}
	}
	// fewer are refused elsewhere
	if err := c.StepProgram(t, t.PositionsMM).Check(); err != nil && len(t.PositionsMM) > 1 {
		v.bad("position.program", "%v", err)
	}
}
