package config

import (
	"slices"

	"tramd/sweep"
	"tramd/sweep/stack"
	"tramd/sweep/units"
)

// Measured is what a traverse, a bar and a square have in common.
type Measured struct {
	Name         string  `toml:"name"`
	Joint        string  `toml:"joint"`     // the joint it speaks of, for people: "rails"
	Axis         string  `toml:"axis"`      // tilt or nod, where it speaks of one only
	Tolerance    string  `toml:"tolerance"` // empty: the machine's
	Indicator    string  `toml:"indicator"` // empty: the first
	ResolutionMM float64 `toml:"resolution_mm"`
	// this and the one before of a plain dial, whose readings are typed
	MPEMM     float64  `toml:"mpe_mm" zero:"meant"`
	Adjusters []string `toml:"adjusters"` // that change it
}

// Traverse is a line, several lines, or the table under the cross travels.
type Traverse struct {
	Measured
	PositionsMM    []float64 `toml:"positions_mm"`
	LinesMM        []float64 `toml:"lines_mm"`                 // where the lines lie across; empty: one
	BothWays       bool      `toml:"both_ways"`                // there and back
	EdgeTurned     bool      `toml:"edge_turned"`              // once more with the edge end for end and face about
	EdgeMPEMM      float64   `toml:"edge_mpe_mm" zero:"meant"` // permissible error of the edge
	StraightnessMM float64   `toml:"straightness_mm"`          // limit of the form
	Same           bool      `toml:"same"`                     // positions are judged against each other
	// "table": the machine's own cross travels carry the indicator over the table
	Over     string    `toml:"over"`
	SidesDeg []float64 `toml:"sides_deg"` // of that: along which ways
	// a person goes to each place, though [position] is written
	ByHand *bool `toml:"by_hand"`
}

// Bar is a round bar or a tool shank in the spindle.
type Bar struct {
	Measured
	HeightsMM []float64 `toml:"heights_mm"` // for turning; they grow towards the spindle's nose
	AnglesDeg []float64 `toml:"angles_deg"`
	NoseMM    *float64  `toml:"nose_mm"`
	RunOutMM  float64   `toml:"run_out_mm"` // limit at any height
	Rechucked bool      `toml:"rechucked"`  // once more, put back turned by 180 degrees in the collet
	Moving
}

// Square is a square or a cylinder square on the table.
type Square struct {
	Measured
	Moving
}

// Moving is how a bar or a square is measured while the head moves.
type Moving struct {
	TravelMM []float64 `toml:"travel_mm"`
	SidesDeg []float64 `toml:"sides_deg"`
	Turned   *bool     `toml:"turned"`  // once more, turned by 180 degrees; nil: yes
	Lean     string    `toml:"lean"`    // how far it may lean itself: "0.01/100"
	ByHand   *bool     `toml:"by_hand"` // nil: yes; false: [position] says where the head is
}

// AxisTilt and AxisNod are what a measurement can speak of.
const (
	AxisTilt = "tilt"
	AxisNod  = "nod"
)

// OverTable has the machine's cross travels carry the indicator over the table.
const OverTable = "table"

func (c *Config) assemblyDefaults() {
	for i := range c.Traverses {
		t := &c.Traverses[i]
		if t.Over == OverTable && len(t.SidesDeg) == 0 {
			t.SidesDeg = []float64{0, 90}
		}
	}
	for i := range c.Bars {
		b := &c.Bars[i]
		if len(b.AnglesDeg) == 0 {
			b.AnglesDeg = []float64{0, 90, 180, 270}
		}
		b.Moving.setDefaults()
	}
	for i := range c.Squares {
		c.Squares[i].Moving.setDefaults()
	}
}

func (m *Moving) setDefaults() {
	if len(m.SidesDeg) == 0 {
		m.SidesDeg = []float64{0, 90}
	}
	if m.Turned == nil {
		yes := true
		m.Turned = &yes
	}
}

// Limit returns the tolerance of a measurement: its own, or the machine's.
func (c *Config) Limit(m *Measured) units.Tolerance {
	if m.Tolerance == "" {
		return c.tolerance
	}
	t, _ := units.ParseTolerance(m.Tolerance) // checked when the file was read
	return t
}

// IndicatorOf returns the number of the indicator that a measurement is read from.
func (c *Config) IndicatorOf(m *Measured) int {
	return max(0, slices.IndexFunc(c.Indicators, func(x Indicator) bool { return x.Name == m.Indicator }))
}

// Measured returns what a step's measurement is configured as; nil for a sweep.
func (c *Config) Measured(kind, name string) *Measured {
	for i := range c.Traverses {
		if m := &c.Traverses[i].Measured; m.Name == name && (kind == sweep.KindTraverse || kind == sweep.KindCross) {
			return m
		}
	}
	for i := range c.Bars {
		if m := &c.Bars[i].Measured; m.Name == name && (kind == sweep.KindBar || kind == sweep.KindTravel) {
			return m
		}
	}
	for i := range c.Squares {
		if m := &c.Squares[i].Measured; m.Name == name && kind == sweep.KindTravel {
			return m
		}
	}
	return nil
}

// Relation returns which relation a named traverse or travel measures; empty for one that measures none.
func (c *Config) Relation(kind, name string) string {
	switch kind {
	case sweep.KindSweep:
		return stack.SpindleToTable
	case sweep.KindTravel:
		if slices.ContainsFunc(c.Squares, func(q Square) bool { return q.Name == name }) {
			return stack.TravelToTable
		}
		return stack.SpindleToTravel
	case sweep.KindTraverse, sweep.KindCross:
		if slices.ContainsFunc(c.Traverses, func(t Traverse) bool { return t.Name == name && t.Over == OverTable }) {
			return stack.CrossToTable
		}
	}
	return ""
}
