package config

import (
	"fmt"
	"reflect"

	"tramd/device"
	"tramd/device/frame"
	"tramd/sweep"
)

// Position is how it is known where a moving axis stands during a measurement along a line.
type Position struct {
	Framing
	Source  string  `toml:"source"` // empty: scale, where the table is written
	Port    string  `toml:"port"`
	Baud    int     `toml:"baud"`
	DelayMS float64 `toml:"delay_ms" zero:"meant"`
	Capture string  `toml:"capture"`

	CountsPerMM float64  `toml:"counts_per_mm"`
	CounterBits int      `toml:"counter_bits"` // 16, 24 or 32; 0 = it counts on
	Reversed    bool     `toml:"reversed"`
	ZeroMM      *float64 `toml:"zero_mm"` // position at count 0; nil: it is set where a measurement begins
	MaxGapMS    float64  `toml:"max_gap_ms"`

	FeedMMPerMin float64 `toml:"feed_mm_per_min"` // of an axis that the machine moves, its ends marked by a person
	Program      Steps   `toml:"program"`         // of an axis that a motion controller moves, from place to place
}

// What says where the axis stands.
const (
	PositionScale = "scale" // a linear scale on a serial port
	PositionFeed  = "feed"  // the time between two marks, since it moves at a constant feed

	PositionProgram = "program" // a motion controller moves it, from place to place
)

func (p *Position) setDefaults() {
	if reflect.ValueOf(p).Elem().IsZero() {
		return
	}
	if p.Source == "" {
		p.Source = PositionScale
	}
	if p.Source == PositionProgram {
		p.Program.setDefaults()
	}
	if p.Source != PositionScale {
		return
	}
	if p.Baud == 0 {
		p.Baud = 115200
	}
	p.Framing.setDefaults(frame.FrameEncoder)
}

// Scale returns what a linear scale's counts mean.
func (p *Position) Scale() sweep.ScaleOptions {
	o := sweep.ScaleOptions{CountsPerMM: p.CountsPerMM, Reversed: p.Reversed, CounterBits: p.CounterBits,
		MaxGapS: p.MaxGapMS / 1000}
	if p.ZeroMM != nil {
		o.ZeroMM = *p.ZeroMM
	}
	return o
}

// ScalePort returns the port of the linear scale.
func (c *Config) ScalePort() device.Spec {
	p := &c.Position
	s := p.spec(device.Spec{Name: PositionScale, Role: frame.RolePosition, Port: p.Port, Baud: p.Baud,
		Capture: p.Capture})
	p.ask(&s, "")
	return s
}

// PositionsOf returns what says where the axis stands during a traverse; empty: a person or a motion controller goes to
// each place.
func (c *Config) PositionsOf(t *Traverse) string {
	if c.Position.Source == PositionProgram {
		return ""
	}
	byHand := t.Over == OverTable // a scale lies along one axis, and the table is crossed along two
	if t.ByHand != nil {
		byHand = *t.ByHand
	}
	if byHand {
		return ""
	}
	return c.Position.Source
}

// PositionsOfTravel returns the same for a bar or a square while the head moves; empty where it is not asked for.
func (c *Config) PositionsOfTravel(m *Moving) string {
	if m.ByHand == nil || *m.ByHand || c.Position.Source == PositionProgram {
		return ""
	}
	return c.Position.Source
}

func (v *validator) position(c *Config) {
	p := &c.Position
	switch p.Source {
	case "":
		v.noPosition(c)
		return
	case PositionScale:
		v.scale(c)
		if p.FeedMMPerMin != 0 {
			v.bad("position.feed_mm_per_min",
				`a scale shows how fast the axis moves; remove it, or write source = "feed" and no port`)
		}
	case PositionFeed:
		v.feed(p)
	case PositionProgram:
		v.positionProgram(c)
		return
	default:
		v.bad("position.source", `%q does not say where an axis stands; write source = "scale", "feed" or "program"`,
			p.Source)
	}
	if !reflect.ValueOf(p.Program).IsZero() {
		v.bad("position.program", `only source = "program" has these keys; remove them, or write that source`)
	}
	for i := range c.Traverses {
		t := &c.Traverses[i]
		if t.Over == OverTable && c.PositionsOf(t) != "" && len(t.SidesDeg) > 1 {
			v.bad(fmt.Sprintf("traverse.%d.by_hand", i),
				"a scale lies along one axis, and %q goes along %d ways; write one of them in sides_deg, or remove by_hand", t.Name, len(t.SidesDeg))
		}
	}
}

// noPosition refuses what needs the table.
func (v *validator) noPosition(c *Config) {
	bad := func(kind string, i int, byHand *bool) {
		if byHand != nil && !*byHand {
			v.bad(fmt.Sprintf("%s.%d.by_hand", kind, i),
				"nothing says where the axis stands; add the table [position], or remove by_hand")
		}
	}
	for i := range c.Traverses {
		bad("traverse", i, c.Traverses[i].ByHand)
	}
	for i := range c.Bars {
		bad("bar", i, c.Bars[i].ByHand)
	}
	for i := range c.Squares {
		bad("square", i, c.Squares[i].ByHand)
	}
}

func (v *validator) feed(p *Position) {
	if p.FeedMMPerMin == 0 {
		v.bad("position.feed_mm_per_min",
			"missing; write the feed at which the machine moves the axis, for example feed_mm_per_min = 300.0")
	} else {
		v.number("position.feed_mm_per_min", p.FeedMMPerMin, 1, 3000)
	}
	only := *p
	only.Source, only.FeedMMPerMin, only.Program = "", 0, Steps{}
	if !reflect.ValueOf(only).IsZero() {
		v.bad("position.source",
			`"feed" needs feed_mm_per_min and nothing else; remove the other keys, or write source = "scale"`)
	}
}

func (v *validator) scale(c *Config) {
	p := &c.Position
	v.port("position.port", p.Port)
	v.whole("position.baud", int64(p.Baud), 50, 4_000_000)
	v.framing("position", frame.FrameEncoder, frame.RolePosition, &p.Framing)
	if p.CountsPerMM == 0 {
		v.bad("position.counts_per_mm",
			"missing; write how many counts the scale gives in a millimetre, for example counts_per_mm = 200.0 for one that shows 0.005 mm")
	} else {
		v.number("position.counts_per_mm", p.CountsPerMM, 0.1, 1e6)
	}
	v.counterBits("position.counter_bits", p.CounterBits)
	if p.ZeroMM != nil {
		v.number("position.zero_mm", *p.ZeroMM, -1e5, 1e5)
	}
	v.number("position.delay_ms", p.DelayMS, 0, 5000)
	v.optional("position.max_gap_ms", p.MaxGapMS, 1, 10000)
	for what, port := range map[string]string{"the encoder": c.Angle.Port, "the trigger": c.Angle.TriggerPort,
		"the motion controller": c.Program.Port} {
		if port != "" && port == p.Port {
			v.bad("position.port", "%s has the same port; the scale needs one of its own", what)
		}
	}
	v.noIndicators(c, "position.port", p.Port, "the scale needs one")
}
