package config

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"tramd/sweep/advice"
)

// Adjuster is one thing a person can move, described by geometry (Kind) or by what one unit of it does.
type Adjuster struct {
	Name  string `toml:"name"`
	Kind  string `toml:"kind"`  // swing, shim or screw; empty: by nominal effect
	Leans string `toml:"leans"` // where a positive amount takes the spindle's upper end: right, left, back or front
	// Moves says what of a traverse it moves: slope, twist or cross slope. Empty for those of the head, a bar or a
	// square.
	Moves string `toml:"moves"`
	// Geometry: a swing by the lever it is measured at, a shim by the spacing of the bolt rows, a screw by its pitch
	// and its distance from what it pivots about.
	LeverMM   float64 `toml:"lever_mm"`
	SpacingMM float64 `toml:"spacing_mm"`
	PitchMM   float64 `toml:"pitch_mm"`
	// where it pivots, along its axis from the spindle: + right or back
	PivotMM float64 `toml:"pivot_mm" zero:"meant"`
	// Nominal effect of one unit.
	TiltMMPerM float64 `toml:"tilt_mm_per_m" zero:"meant"`
	NodMMPerM  float64 `toml:"nod_mm_per_m" zero:"meant"`
	Unit       string  `toml:"unit"`

	Step        float64 `toml:"step" zero:"meant"` // the smallest amount; 0: any
	Plus        string  `toml:"plus"`              // how to say a positive amount: "pack {} behind the lower bolts"
	Minus       string  `toml:"minus"`
	Notes       string  `toml:"notes"` // which screws, in what order
	LoosensHead bool    `toml:"loosens_head"`
}

// Shims are the thicknesses on hand, one entry a piece.
type Shims struct {
	StockMM []float64 `toml:"stock_mm"`
}

// Kinds of adjuster.
const (
	KindSwing = "swing"
	KindShim  = "shim"
	KindScrew = "screw"
)

var leanWays = map[string][2]float64{"right": {1, 0}, "left": {-1, 0}, "back": {0, 1}, "front": {0, -1}}

// opposite is the other way a lean can go.
var opposite = map[string]string{"right": "left", "left": "right", "back": "front", "front": "back"}

// What of a traverse an adjuster can move.
const (
	MovesSlope      = "slope"
	MovesTwist      = "twist"
	MovesCrossSlope = "cross slope"
)

// size is by how much one unit turns, mm/m: t/H for a shim t behind one of two bolt rows H apart, d/L for a swing d at
// a lever L, and pitch/L for one turn of a screw; 0 for one by nominal effect.
func (a *Adjuster) size() float64 {
	switch a.Kind {
	case KindSwing:
		return 1000 / a.LeverMM
	case KindShim:
		return 1000 / a.SpacingMM
	case KindScrew:
		return 1000 * a.PitchMM / a.LeverMM
	}
	return 0
}

// effect is what one unit does to tilt and nod, mm/m.
func (a *Adjuster) effect() (tilt, nod float64) {
	if a.Kind == "" {
		return a.TiltMMPerM, a.NodMMPerM
	}
	way, size := leanWays[a.Leans], a.size()
	return size * way[0], size * way[1]
}

// onLine is what one unit does to the slope of a traverse, and to its twist or cross slope, mm/m. One that is described
// by what it does to a lean moves the slope along the axis that it moves most.
func (a *Adjuster) onLine() (slope, other float64) {
	tilt, nod := a.effect()
	switch {
	case a.Moves == MovesSlope:
		return a.size(), 0
	case a.Moves != "":
		return 0, a.size()
	case math.Abs(tilt) < math.Abs(nod):
		return nod, 0
	}
	return tilt, 0
}

// Pivot is what it turns about: along the axis it moves most.
func (a *Adjuster) Pivot() advice.Pivot {
	if tilt, nod := a.effect(); math.Abs(tilt) < math.Abs(nod) {
		return advice.Pivot{YMM: a.PivotMM}
	}
	return advice.Pivot{XMM: a.PivotMM}
}

// ofJoints returns the adjusters that a traverse, a bar or a square names: they move what is below the head.
func (c *Config) ofJoints() map[string]bool {
	out := map[string]bool{}
	for i := range c.Traverses {
		for _, name := range c.Traverses[i].Adjusters {
			out[name] = true
		}
	}
	for i := range c.Bars {
		for _, name := range c.Bars[i].Adjusters {
			out[name] = true
		}
	}
	for i := range c.Squares {
		for _, name := range c.Squares[i].Adjusters {
			out[name] = true
		}
	}
	return out
}

// Advisers returns the adjusters of the head as the adviser knows them.
func (c *Config) Advisers() []advice.Adjuster {
	var out []advice.Adjuster
	joints := c.ofJoints()
	for i := range c.Adjusters {
		a := &c.Adjusters[i]
		if joints[a.Name] {
			continue
		}
		x := c.adviser(a)
		x.Words.Loosens = a.LoosensHead || a.Kind == KindShim
		x.Tilt, x.Nod = a.effect()
		if a.Plus == "" && a.Kind == KindSwing {
			x.Words.Plus, x.Words.Minus = "swing it by {}, the spindle's upper end to the "+a.Leans,
				"swing it by {}, the spindle's upper end to the "+opposite[a.Leans]
		}
		out = append(out, x)
	}
	return out
}

// JointAdvisers gives the adjusters that a measurement names as the adviser knows them: what they do to tilt and nod,
// or to slope and twist (or cross slope) of a traverse along a line.
func (c *Config) JointAdvisers(m *Measured, alongLine bool) []advice.Adjuster {
	var out []advice.Adjuster
	for i := range c.Adjusters {
		a := &c.Adjusters[i]
		if !slices.Contains(m.Adjusters, a.Name) {
			continue
		}
		x := c.adviser(a)
		x.Words.Loosens = a.LoosensHead
		if x.Tilt, x.Nod = a.effect(); alongLine {
			x.Tilt, x.Nod = a.onLine()
		}
		out = append(out, x)
	}
	return out
}

func (c *Config) adviser(a *Adjuster) advice.Adjuster {
	x := advice.Adjuster{Name: a.Name, Unit: a.Unit, Step: a.Step, Words: advice.Words{Plus: a.Plus, Minus: a.Minus,
		Notes: a.Notes}}
	if a.Kind == KindShim && a.Step == 0 {
		x.StockMM = c.Shims.StockMM
	}
	return x
}

// Across returns what the adjusters of a traverse move beside its slope: twist, unless one moves the cross slope.
func (c *Config) Across(m *Measured) string {
	for i := range c.Adjusters {
		if a := &c.Adjusters[i]; a.Moves == MovesCrossSlope && slices.Contains(m.Adjusters, a.Name) {
			return MovesCrossSlope
		}
	}
	return MovesTwist
}

func (c *Config) adjusterDefaults() {
	for i := range c.Adjusters {
		if a := &c.Adjusters[i]; a.Unit == "" {
			a.Unit = "mm"
			if a.Kind == KindScrew {
				a.Unit = "turn"
			}
		}
	}
}

func (v *validator) adjusters(c *Config) {
	if len(c.Adjusters) > 12 {
		v.bad("adjuster", "%d of them; at most 12 can be weighed together", len(c.Adjusters))
	}
	names := map[string]bool{}
	for i := range c.Adjusters {
		a := &c.Adjusters[i]
		key := func(k string) string { return fmt.Sprintf("adjuster.%d.%s", i, k) }
		switch {
		case a.Name == "" || len(a.Name) > 64 || strings.ContainsAny(a.Name, "=\n\r\t"):
			v.bad(key("name"), `%q; write a short name without "=", for example name = "lower shim"`, a.Name)
		case names[a.Name]:
			v.bad(key("name"), "%q is taken by another adjuster; give each its own name", a.Name)
		}
		names[a.Name] = true
		v.adjusterKind(a, key)
		lengths := v.told[key("lever_mm")] || v.told[key("spacing_mm")] || v.told[key("pitch_mm")]
		if size := math.Hypot(a.effect()); a.Kind != "" && size > 1e5 && !lengths {
			v.bad(key("kind"), "one unit of it would turn the head by %.3g mm/m; write its lengths as they are", size)
		}
		v.optional(key("step"), a.Step, 0.00001, 1000)
		v.number(key("pivot_mm"), a.PivotMM, -10000, 10000)
		if (a.Plus == "") != (a.Minus == "") {
			v.bad(key("plus"),
				`plus and minus belong together; write both, for example plus = "pack {} behind the lower bolts" and minus = "pack {} behind the upper bolts"`)
		}
	}
	if len(c.Shims.StockMM) > 64 {
		v.bad("shims.stock_mm", "%d pieces; list at most 64", len(c.Shims.StockMM))
	}
	for _, s := range c.Shims.StockMM {
		if !(s >= 0.001 && s <= 50) {
			v.bad("shims.stock_mm",
				"%v is no thickness of a shim; write mm, one entry a piece, for example stock_mm = [0.05, 0.1, 0.1, 0.2]", s)
			break
		}
	}
}

// adjusterKind wants what a kind needs and refuses what it cannot use.
func (v *validator) adjusterKind(a *Adjuster, key func(string) string) {
	needs := map[string][]string{KindSwing: {"lever_mm"}, KindShim: {"spacing_mm"}, KindScrew: {"lever_mm", "pitch_mm"},
		"": {}}
	need, ok := needs[a.Kind]
	if !ok {
		v.bad(key("kind"),
			`%q is not a kind of adjuster; write "swing", "shim" or "screw", or leave it out and write tilt_mm_per_m and nod_mm_per_m`, a.Kind)
		return
	}
	has := map[string]float64{"lever_mm": a.LeverMM, "spacing_mm": a.SpacingMM, "pitch_mm": a.PitchMM}
	for _, k := range []string{"lever_mm", "spacing_mm", "pitch_mm"} {
		wanted := false
		for _, n := range need {
			wanted = wanted || n == k
		}
		switch {
		case !wanted && has[k] != 0:
			v.bad(key(k), "%s has no use for it; remove it", kindName(a.Kind))
		case wanted && has[k] == 0:
			v.bad(key(k), "missing; %s", map[string]string{
				"lever_mm":   "measure from the pivot to where the movement is measured or the screw presses, for example lever_mm = 240.0",
				"spacing_mm": "measure from one bolt row to the other, for example spacing_mm = 140.0",
				"pitch_mm":   "write how far one turn takes the screw, for example pitch_mm = 1.0",
			}[k])
		case wanted && !(has[k] >= 0.05 && has[k] <= 10000):
			v.bad(key(k), "%v is out of range; write mm, from 0.05 to 10000", has[k])
		}
	}
	_, known := leanWays[a.Leans]
	switch {
	case a.Moves != "" && !slices.Contains([]string{MovesSlope, MovesTwist, MovesCrossSlope}, a.Moves):
		v.bad(key("moves"),
			`%q; write "slope", "twist" or "cross slope" for an adjuster that a traverse names, or leave it out and write leans`, a.Moves)
	case a.Moves != "" && a.Kind == "":
		v.bad(key("moves"), "an adjuster of a traverse is described by its geometry; write kind with its lengths")
	case a.Moves != "" && a.Leans != "":
		v.bad(key("leans"), "moves says already what it does; remove one of the two")
	case a.Moves != "":
	case a.Kind == "" && a.Leans != "":
		v.bad(key("leans"), "an adjuster by nominal effect says its way by its signs; remove leans")
	case a.Kind != "" && !known:
		v.bad(key("leans"),
			`%q; write where a positive amount takes the spindle's upper end: leans = "right", "left", "back" or "front"`, a.Leans)
	}
	v.nominalEffect(a, key)
}

func (v *validator) nominalEffect(a *Adjuster, key func(string) string) {
	for k, x := range map[string]float64{"tilt_mm_per_m": a.TiltMMPerM, "nod_mm_per_m": a.NodMMPerM} {
		if a.Kind != "" && x != 0 {
			v.bad(key(k), "%s has its effect from its geometry; remove it, or remove kind", kindName(a.Kind))
		}
		if !(math.Abs(x) <= 1e5) {
			v.bad(key(k), "%v is out of range; write what one unit does, in mm/m", x)
		}
	}
	if a.Kind == "" && a.TiltMMPerM == 0 && a.NodMMPerM == 0 {
		v.bad(key("tilt_mm_per_m"),
			"no effect is described; write what one unit does as tilt_mm_per_m and nod_mm_per_m, or a kind with its geometry")
	}
}

func kindName(kind string) string {
	if kind == "" {
		return "an adjuster by nominal effect"
	}
	return "a " + kind
}
