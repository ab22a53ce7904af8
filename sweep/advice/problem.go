package advice

import (
	"errors"
	"fmt"
	"math"

	"tramd/sweep/units"
)

// Adjuster is one thing a person can move.
type Adjuster struct {
	Name string
	Unit string // of an amount: "mm", "turn", "deg"; empty is taken as mm
	// Tilt and Nod are the nominal effect of one unit, mm/m.
	Tilt, Nod float64
	Step      float64   // the smallest amount it can move by, and whole multiples of it; 0: any
	StockMM   []float64 // thicknesses on hand, each one piece; what can be packed is any sum of them. Empty: no such limit
	Words     Words
}

// Words tell a person how to move an adjuster. All may be empty.
type Words struct {
	Plus, Minus string // "pack {} behind the lower bolts": {} stands for the amount without its sign
	Notes       string // which screws, in what order; said as it stands
	Loosens     bool   // moving it loosens what holds the head
}

// Entry is one measurement and what was moved after it.
type Entry struct {
	Label     string  // what to call it in words: "run 12"; empty: measurement and its number
	Tilt, Nod float64 // mm/m; NaN: this axis was not measured
	// TiltU and NodU are standard uncertainties, mm/m.
	TiltU, NodU float64
	// TiltHalf and NodHalf are the half widths of the 95 % intervals; 0: 1.96 times the standard uncertainty.
	TiltHalf, NodHalf float64
	Moved             map[string]float64 // by adjuster; nil or zeros: nothing
	// Unrecorded says that the machine was changed after this measurement in a way that was not written down.
	Unrecorded bool
}

// Subject is what is measured and moved, for words. The zero value is the lean of the spindle, found by sweeps.
type Subject struct {
	Quantities []string // one or two: "slope", "twist"; they stand where tilt and nod do. None: tilt and nod
	Again      string   // "measure left rail again"; empty: "sweep again"
}

func (s Subject) alone() bool { return len(s.Quantities) == 1 }

func (s Subject) name(axis int) string {
	switch {
	case len(s.Quantities) == 0:
		return [2]string{"tilt", "nod"}[axis]
	case axis < len(s.Quantities):
		return s.Quantities[axis]
	}
	return ""
}

// both says that all of it does something: "both are", "the slope is".
func (s Subject) both() string {
	switch {
	case s.alone():
		return "the " + s.Quantities[0] + " is"
	case len(s.Quantities) == 0:
		return "both axes are"
	}
	return s.Quantities[0] + " and " + s.Quantities[1] + " are"
}

// one is a word for one quantity, or for two.
func (s Subject) one(alone, two string) string {
	if s.alone() {
		return alone
	}
	return two
}

func (s Subject) again() string {
	if s.Again == "" {
		return "sweep again"
	}
	return s.Again
}

// values says what is expected of each.
func (s Subject) values(x, y float64) string {
	if s.alone() {
		return fmt.Sprintf("%s %+.3f mm/m", s.name(0), x)
	}
	return fmt.Sprintf("%s %+.3f, %s %+.3f mm/m", s.name(0), x, s.name(1), y)
}

// Problem is everything an advice rests on. Where its subject has one quantity, that is the tilt, and the nod is
// nothing throughout.
type Problem struct {
	Subject   Subject
	Tolerance units.Tolerance
	Adjusters []Adjuster
	History   []Entry // oldest first

	dropped int                // measurements too old to be looked at
	packed  map[string]float64 // the sum of all moves, by adjuster
}

// label is what measurement i of those looked at is called.
func (p *Problem) label(i int) string {
	if l := p.History[i].Label; l != "" {
		return l
	}
	return fmt.Sprintf("measurement %d", p.dropped+i+1)
}

// These bounds limit what an input may hold.
const (
	maxLean      = 1000 // mm/m: 45 degrees
	maxEffect    = 1e6  // mm/m for one unit
	maxAmount    = 1e6
	maxAdjusters = 12
	maxStock     = 64
)

// ErrNothingMeasured says that there is no lean to advise on.
var ErrNothingMeasured = errors.New("nothing is measured yet: sweep once, then ask again")

// ErrNoDirection says that the last sweep has a size and no direction.
var ErrNoDirection = errors.New(
	"the direction of the last sweep is not known, so there is no move to advise: set the zero of the encoder, then sweep again")

// ErrNoTolerance says that no tolerance says when to stop.
var ErrNoTolerance = errors.New(`no tolerance, so no way to say when to stop: write one, for example "0.03/300"`)

// FieldError is one thing wrong in a problem, with its place in the log ("history[2].u_mm_per_m").
type FieldError struct {
	Place, Text string
}

func (e FieldError) Error() string { return e.Place + ": " + e.Text }

func bad(place, format string, args ...any) error {
	return FieldError{place, fmt.Sprintf(format, args...)}
}

// Validate finds what cannot be advised on. What is merely unwise becomes a warning of the answer instead.
func (p *Problem) Validate() error {
	if !p.Tolerance.Given() {
		return ErrNoTolerance
	}
	if len(p.Adjusters) > maxAdjusters {
		return bad("adjusters", "%d of them; at most %d can be weighed together", len(p.Adjusters), maxAdjusters)
	}
	names := map[string]bool{}
	for i, a := range p.Adjusters {
		if err := a.validate(fmt.Sprintf("adjusters[%d]", i)); err != nil {
			return err
		}
		if names[a.Name] {
			return bad(fmt.Sprintf("adjusters[%d].name", i), "%q is taken by another adjuster; give each its own name",
				a.Name)
		}
		names[a.Name] = true
	}
	for i, h := range p.History {
		if err := h.validate(fmt.Sprintf("history[%d]", i)); err != nil {
			return err
		}
	}
	if len(p.History) == 0 {
		return ErrNothingMeasured
	}
	return nil
}

func (a *Adjuster) validate(at string) error {
	if a.Name == "" {
		return bad(at+".name", "missing; give it a name, for example \"swing\"")
	}
	for _, x := range []struct {
		key   string
		v     float64
		limit float64
	}{{"tilt_mm_per_m", a.Tilt, maxEffect}, {"nod_mm_per_m", a.Nod, maxEffect}} {
		if !(math.Abs(x.v) <= x.limit) {
			return bad(at+"."+x.key, "%v is no effect of one unit; write a number from %v to %v", x.v,
				-x.limit, x.limit)
		}
	}
	if !(a.Step >= 0 && a.Step <= maxAmount) {
		return bad(at+".step", "%v is no smallest amount; write 0 for any, or a positive number", a.Step)
	}
	if len(a.StockMM) > maxStock {
		return bad(at+".stock_mm", "%d pieces; list at most %d", len(a.StockMM), maxStock)
	}
	for k, s := range a.StockMM {
		if !(s > 0 && s <= maxAmount) {
			return bad(fmt.Sprintf("%s.stock_mm[%d]", at, k), "%v is no thickness; write a positive number of mm", s)
		}
	}
	return nil
}

func (h *Entry) validate(at string) error {
	if math.IsNaN(h.Tilt) && math.IsNaN(h.Nod) {
		return bad(at, "neither axis was measured; leave the entry out")
	}
	for _, x := range []struct {
		key     string
		v, u, w float64
	}{{"tilt_mm_per_m", h.Tilt, h.TiltU, h.TiltHalf}, {"nod_mm_per_m", h.Nod, h.NodU, h.NodHalf}} {
		if math.IsNaN(x.v) {
			continue // not measured
		}
		if math.Abs(x.v) > maxLean {
			return bad(at+"."+x.key, "%v is no lean a sweep can find; write mm/m", x.v)
		}
		if !(x.u >= 0 && x.u <= maxLean) {
			return bad(at+".u_mm_per_m", "%v is no standard uncertainty; write a number of mm/m that is not negative",
				x.u)
		}
		if !(x.w >= 0 && x.w <= 100*maxLean) {
			return bad(at+".U_mm_per_m", "%v is no half width; write a number of mm/m that is not negative", x.w)
		}
	}
	for name, by := range h.Moved {
		if !(math.Abs(by) <= maxAmount) {
			return bad(at+".moved."+name, "%v is no amount; write a signed number", by)
		}
	}
	return nil
}
