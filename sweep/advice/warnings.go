package advice

import (
	"math"
	"slices"
	"strings"

	"tramd/sweep"
)

// useless says that no adjuster has any effect to go by.
func (c *chooser) useless() bool {
	for _, s := range c.b.size {
		if s > 0 {
			return false
		}
	}
	return true
}

// warnings names what the reader must know of the adjusters and of the log.
func (a *Answer) warnings(p *Problem, b *belief) {
	last := p.History[len(p.History)-1]
	if math.IsNaN(last.Tilt) || math.IsNaN(last.Nod) {
		a.warn("one_axis", "the last measurement shows one axis only; sweep all round before trusting a move on both")
	}
	if len(p.Adjusters) == 0 {
		a.warn("no_adjusters",
			"no adjusters are described; say for each what one unit does: name, unit, tilt_mm_per_m, nod_mm_per_m")
	}
	for j, adj := range p.Adjusters {
		if b.size[j] == 0 {
			a.warn("no_effect",
				"%s has no effect on either axis as described, so it is left out; write what one unit does to tilt and nod", adj.Name)
		}
	}
	a.reach(p, b, last)
	a.strangers(p)
	a.contradictions(p, b)
}

// reach warns of an axis that is outside and that nothing on hand moves by itself.
func (a *Answer) reach(p *Problem, b *belief, last Entry) {
	if a.Verdict == sweep.Within {
		return
	}
	// The smallest singular value of the nominal directions says how far from one line they all are.
	var xx, xy, yy float64
	any := false
	for j := range b.size {
		if b.size[j] > 0 {
			any = true
			xx += b.unitX[j] * b.unitX[j]
			xy += b.unitX[j] * b.unitY[j]
			yy += b.unitY[j] * b.unitY[j]
		}
	}
	if !any {
		return
	}
	small := (xx+yy)/2 - math.Sqrt((xx-yy)*(xx-yy)/4+xy*xy)
	if small > 0.01 {
		return
	}
	limit := b.limit
	switch {
	case yy < 0.01*xx && math.Abs(last.Nod) > limit:
		a.cannotReach(p.Subject.name(1), p.Subject.name(0))
	case xx < 0.01*yy && math.Abs(last.Tilt) > limit:
		a.cannotReach(p.Subject.name(0), p.Subject.name(1))
	case xx >= 0.01*yy && yy >= 0.01*xx:
		a.warn("cannot_reach",
			"all adjusters move the lean along one and the same line; what lies across it stays, and an adjuster of another direction is needed")
	}
}

func (a *Answer) cannotReach(left, brought string) {
	a.warn("cannot_reach",
		"nothing described moves %s, which is outside; %s alone is brought in, and an adjuster for %s is needed for the rest", left, brought, left)
}

// strangers warns of moves of unknown adjusters.
func (a *Answer) strangers(p *Problem) {
	known := map[string]bool{}
	for _, adj := range p.Adjusters {
		known[adj.Name] = true
	}
	for i := len(p.History) - 1; i >= 0; i-- { // each once, by the last time
		for _, name := range sortedNames(p.History[i].Moved) {
			if !known[name] {
				known[name] = true
				a.warn("unknown_adjuster",
					"after %s %q was moved, which is not among the adjusters; nothing is learned from that move",
					p.label(i), name)
			}
		}
	}
}

// contradictions names moves that did not do what the rest of the log says they should have.
func (a *Answer) contradictions(p *Problem, b *belief) {
	const sure, late = 0.8, 8 // what happened long ago is past mending
	for k := max(0, len(p.History)-1-late); k < len(p.History)-1; k++ {
		h := p.History[k]
		if !h.moved() {
			if b.fate(k, unsaid) > sure && !h.Unrecorded {
				a.warn("changed_unmoved",
					"between %s and %s the lean changed though no move is logged; log every move, and look for what is loose", p.label(k), p.label(k+1))
			}
			continue
		}
		for j, adj := range p.Adjusters {
			if b.fate(k, uint8(stuck+j)) > sure {
				a.warn(
					"stuck",
					"after %s %s seems not to have moved; look whether it is still clamped, or logged with the wrong name", p.label(k), adj.Name)
			}
		}
		if b.fate(k, slipped)+b.fate(k, unsaid) > sure {
			a.warn("contradiction",
				"the move after %s (%s) did something else than the rest of the log says; it may have slipped while tightening, or the amount or its sign is wrong",
				p.label(k), strings.Join(sortedNames(h.Moved), ", "))
		}
	}
	for j, adj := range p.Adjusters {
		if b.size[j] == 0 {
			continue
		}
		t, tu := b.moments(2 + 2*j)
		n, nu := b.moments(3 + 2*j)
		gain := t*b.unitX[j] + n*b.unitY[j]
		u := math.Max(tu, nu)
		if gain+2*u < 0 {
			a.warn(
				"reversed",
				"%s works the other way round than described; check the sign of its effect or of the logged amounts",
				adj.Name)
		}
	}
}

func sortedNames(m map[string]float64) []string {
	out := make([]string, 0, len(m))
	for k, v := range m {
		if v != 0 {
			out = append(out, k)
		}
	}
	slices.Sort(out)
	return out
}
