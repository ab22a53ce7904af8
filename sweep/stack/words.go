package stack

import (
	"fmt"
	"math"

	"tramd/sweep"
	"tramd/sweep/units"
)

// cure is how a joint is corrected and what that changes besides.
var cure = map[string]struct{ how, besides string }{
	SpindleToTravel: {"swing or shim the spindle mount on the head",
		"spindle against table changes by as much; head travel and table stay as they are"},
	TravelToTable: {"true the column or the rails of the head, or tilt the table",
		"spindle against table changes by as much, since the spindle goes along with the head; spindle against head travel stays"},
	CrossToTable: {"pack the table, or surface it by the machine itself",
		"a surfaced table has no lean against the cross travels, and spindle against table becomes spindle against cross travels"},
	SpindleToTable: {"swing or shim the spindle mount", "spindle against head travel changes by as much"},
	SpindleToCross: {"swing or shim the spindle mount",
		"spindle against table and against head travel change by as much"},
	TravelToCross: {"true the column or the rails of the head", "everything that the head carries goes along"},
}

// words says what the numbers mean: the closure, the joint to correct, what else that moves, and whether the table is
// the cheaper cure.
func (a *Answer) words(planes []plane, tol units.Tolerance) {
	add := func(format string, args ...any) { a.Say = append(a.Say, fmt.Sprintf(format, args...)) }
	for k := range planes {
		p := &planes[k]
		if p.axis == nil {
			a.warn(WarnNotMeasured, "%s: nothing was measured in this plane", p.name)
			continue
		}
		switch c := p.axis.Closure; {
		case c == nil && p.axis.DoF == 0:
			a.warn(WarnNoChain,
				"%s: no chain closes, so nothing checks these measurements; sweep the spindle against the table, and measure a bar in the spindle and a square "+
					"on the table while the head moves", p.name)
		case !p.axis.Consistent:
			if c != nil && math.Abs(c.MMPerM) > c.Expanded {
				add(
					"%s: the chain does not close: %+.3f mm/m is left over, and %.3f mm/m is the most that the uncertainties explain.", p.name, c.MMPerM, c.Expanded)
			} else {
				add("%s: measurements of the same relation disagree by more than their uncertainties explain.", p.name)
			}
			if p.axis.Suspect != nil {
				add("%s: without %s (number %d) the rest agree: measure that one again before anything is loosened.",
					p.name, find(*p.axis.Suspect).say, *p.axis.SuspectIndex+1)
			} else {
				add(
					"%s: which measurement is wrong cannot be told from these; measure each once more before anything is loosened.", p.name)
			}
			a.warn(WarnInconsistent,
				"%s: the measurements contradict each other (chi-squared %.1f with %d degrees of freedom)", p.name,
				p.axis.ChiSquared, p.axis.DoF)
		case c != nil:
			add("%s: the chain closes: %+.3f mm/m is left over, within ±%.3f mm/m.", p.name, c.MMPerM, c.Expanded)
		}
		if p.axis.Consistent {
			p.correct(tol, add)
		}
	}
	if a.knows(SpindleToCross) == 0 {
		a.warn(WarnNoCross,
			"how the cross travels lie against the table was not measured, so the lean that the work sees is not known; the verdict is about spindle against table")
	}
	a.Say = append(
		a.Say,
		"Caution: isolate the spindle's power first, support the head before its screws are loosened, and let two people or a hoist carry what is heavy.")
}

// correct says which joint to correct in one plane.
func (p *plane) correct(tol units.Tolerance, add func(format string, args ...any)) {
	v := p.axis.Adjusted
	matters := SpindleToTable
	if _, ok := v[SpindleToCross]; ok {
		matters = SpindleToCross
	}
	m, ok := v[matters]
	if !ok {
		return
	}
	about := fmt.Sprintf("%s is %+.3f ± %.3f mm/m", find(matters).say, m.MMPerM, m.Expanded)
	if tol.Given() && m.Verdict == sweep.Within {
		add("%s: %s: within %s, nothing to correct.", p.name, about, tol.Text)
		if t, ok := v[SpindleToTable]; ok && matters == SpindleToCross && t.Verdict != sweep.Within {
			add(
				"%s: the lean against the table (%+.3f mm/m) is the table's own: surface it by the machine itself rather than move the spindle.", p.name, t.MMPerM)
		}
		return
	}
	if math.Abs(m.MMPerM) <= m.Expanded {
		add("%s: %s: no lean is proved; nothing to correct until it is measured better.", p.name, about)
		return
	}
	if p.axis.Largest == nil {
		return
	}
	name := *p.axis.Largest
	l := v[name]
	c := cure[name]
	add("%s: %s. The largest joint is %s (%+.3f mm/m): %s; then %s.", p.name, about, find(name).say, l.MMPerM,
		c.how, c.besides)
	table, okT := v[CrossToTable]
	against, okS := v[SpindleToTable]
	switch {
	case okT && okS && math.Abs(m.MMPerM) < 0.5*math.Abs(against.MMPerM):
		add(
			"%s: most of the lean against the table is the table's own lean against the cross travels (%+.3f mm/m): surfacing it by the machine itself is the cheaper cure.",
			p.name, table.MMPerM)
	case okT && name == TravelToTable && math.Abs(l.MMPerM-table.MMPerM) < 0.5*math.Abs(l.MMPerM):
		add(
			"%s: the table leans with it (%+.3f mm/m against the cross travels): surfacing it by the machine itself is cheaper than truing the column.", p.name, table.MMPerM)
	}
}
