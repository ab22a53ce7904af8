package stack

import (
	"fmt"
	"math"

	"tramd/sweep"
	"tramd/sweep/uncertainty"
	"tramd/sweep/units"
)

// Closure is what is left over around the chain of table, spindle and head travel.
type Closure struct {
	MMPerM     float64 `json:"mm_per_m"`
	U          float64 `json:"u_mm_per_m"`
	Expanded   float64 `json:"U_mm_per_m"`
	Consistent bool    `json:"consistent"`
}

// Value is one adjusted relation.
type Value struct {
	MMPerM   float64       `json:"mm_per_m"`
	U        float64       `json:"u_mm_per_m"`
	Expanded float64       `json:"U_mm_per_m"`
	Verdict  sweep.Verdict `json:"verdict"`
}

// Covariance is that of two adjusted relations, in (mm/m)².
type Covariance struct {
	Of    [2]string `json:"of"`
	Value float64   `json:"mm2_per_m2"`
}

// Axis is what a stack says in one plane.
type Axis struct {
	Closure      *Closure         `json:"closure"`
	Adjusted     map[string]Value `json:"adjusted"`
	Suspect      *string          `json:"suspect"`
	SuspectIndex *int             `json:"suspect_index,omitempty"` // which of the relations as given, from 0
	Largest      *string          `json:"largest"`
	ChiSquared   float64          `json:"chi_squared"`
	DoF          int              `json:"dof"`
	Consistent   bool             `json:"consistent"`
	Covariances  []Covariance     `json:"covariances,omitempty"`
}

// Answer is what a stack says. An axis in which nothing was measured is nil.
type Answer struct {
	Axes      map[string]*Axis `json:"axes"`
	Verdict   sweep.Verdict    `json:"verdict"`
	Judged    string           `json:"judged"` // the relation that the verdict is about
	Say       []string         `json:"say"`
	Warnings  []sweep.Warning  `json:"warnings"`
	Tolerance string           `json:"tolerance,omitempty"`
}

// Codes of warnings.
const (
	WarnNoChain      = "no_chain"
	WarnInconsistent = "inconsistent"
	WarnNoCross      = "cross_not_measured"
	WarnNotMeasured  = "axis_not_measured"
)

// Solve adjusts a valid stack.
func Solve(s *Stack) (*Answer, error) {
	if err := s.Validate(); err != nil {
		return nil, err
	}
	out := &Answer{Axes: map[string]*Axis{}, Tolerance: s.Tolerance.Text, Say: []string{}, Warnings: []sweep.Warning{}}
	planes := []plane{{name: "tilt"}, {name: "nod"}}
	for k := range planes {
		p := &planes[k]
		for i, m := range s.Relations {
			v, u, dof := m.Tilt, m.TiltU, m.TiltDoF
			if k == 1 {
				v, u, dof = m.Nod, m.NodU, m.NodDoF
			}
			if v == nil {
				continue
			}
			o := observation{rel: find(m.Relation), from: i, v: *v, u: *u, dof: math.Inf(1)}
			if dof != nil {
				o.dof = math.Max(1, *dof) // as few as Student's t is asked for
			}
			p.obs = append(p.obs, o)
		}
		if len(p.obs) > 0 {
			p.solve(s.Tolerance)
		}
		out.Axes[p.name] = p.axis
	}
	out.judge(s.Tolerance)
	out.words(planes, s.Tolerance)
	return out, nil
}

type plane struct {
	name string
	obs  []observation
	all  adjustment
	axis *Axis
}

func (p *plane) solve(tol units.Tolerance) {
	p.all = adjust(p.obs, -1)
	held := p.all.hold()
	a := &Axis{Adjusted: map[string]Value{}, ChiSquared: p.all.chi2, DoF: p.all.free(), Consistent: held.agree}
	p.axis = a
	var known []*relation
	for i := range relations {
		r := &relations[i]
		shares, ok := p.all.shares(r)
		if !ok {
			continue
		}
		known = append(known, r)
		var b uncertainty.Budget
		for k, share := range shares {
			b = append(b, p.all.component(&p.all.obs[k], share))
		}
		v := Value{MMPerM: p.all.value(r), U: b.Combined()}
		v.Expanded, _ = b.Expanded(confidence)
		v.Verdict = sweep.Judge(units.Slope(v.MMPerM)*units.MMPerM, units.Slope(v.Expanded)*units.MMPerM, tol)
		a.Adjusted[r.name] = v
	}
	for i, r := range known {
		for _, q := range known[i+1:] {
			a.Covariances = append(a.Covariances, Covariance{[2]string{r.name, q.name}, p.all.covariance(r, q)})
		}
	}
	a.Closure = p.closure()
	if at := held.suspect; at >= 0 {
		a.Suspect, a.SuspectIndex = &p.obs[at].rel.name, &p.obs[at].from
	}
	a.Largest = p.largest()
}

// chain is what must add up to nothing.
var chain = []struct {
	name string
	sign float64
}{{SpindleToTable, 1}, {SpindleToTravel, -1}, {TravelToTable, -1}}

// closure adds the chain up from what was measured; what was measured several times goes in by its weighted mean.
func (p *plane) closure() *Closure {
	var b uncertainty.Budget
	c := &Closure{Consistent: p.axis.Consistent}
	for _, link := range chain {
		var same []observation
		for _, o := range p.obs {
			if o.rel.name == link.name {
				same = append(same, o)
			}
		}
		mean := adjust(same, -1)
		shares, ok := mean.shares(find(link.name))
		if !ok {
			return nil
		}
		c.MMPerM += link.sign * mean.value(find(link.name))
		for k, share := range shares {
			b = append(b, mean.component(&same[k], share))
		}
	}
	c.U = b.Combined()
	c.Expanded, _ = b.Expanded(confidence)
	return c
}

// largest is the joint that leans most; where no joint is known by itself, the relation that does.
func (p *plane) largest() *string {
	var name *string
	for _, joints := range []bool{true, false} {
		most := -1.0
		for i := range relations {
			r := &relations[i]
			v, ok := p.axis.Adjusted[r.name]
			if !ok || r.joint != joints {
				continue
			}
			if size := math.Abs(v.MMPerM); size > most {
				most, name = size, &r.name
			}
		}
		// The table alone against its travels says nothing of the spindle.
		if name != nil && !(*name == CrossToTable && !p.knowsJoints()) {
			return name
		}
	}
	return name
}

func (p *plane) knowsJoints() bool {
	_, a := p.axis.Adjusted[SpindleToTravel]
	_, b := p.axis.Adjusted[TravelToTable]
	_, c := p.axis.Adjusted[SpindleToTable]
	return a || b || !c
}

// judge decides on the lean that matters: against the cross travels where both axes of that are known, else against the
// table.
func (a *Answer) judge(tol units.Tolerance) {
	a.Judged = SpindleToTable
	if a.knows(SpindleToCross) == 2 {
		a.Judged = SpindleToCross
	}
	if !tol.Given() {
		a.Verdict = sweep.None
		return
	}
	a.Verdict = sweep.Within
	for _, axis := range a.Axes {
		v, ok := Value{}, false
		if axis != nil {
			v, ok = axis.Adjusted[a.Judged]
		}
		switch {
		case !ok || v.Verdict == sweep.Undecided:
			if a.Verdict != sweep.Outside {
				a.Verdict = sweep.Undecided
			}
		case v.Verdict == sweep.Outside:
			a.Verdict = sweep.Outside
		}
	}
	for _, axis := range a.Axes { // what contradicts itself passes nothing
		if axis != nil && !axis.Consistent && a.Verdict == sweep.Within {
			a.Verdict = sweep.Undecided
		}
	}
}

func (a *Answer) knows(name string) (axes int) {
	for _, axis := range a.Axes {
		if axis != nil {
			if _, ok := axis.Adjusted[name]; ok {
				axes++
			}
		}
	}
	return axes
}

func (a *Answer) warn(code, format string, args ...any) {
	a.Warnings = append(a.Warnings, sweep.Warning{Code: code, Text: fmt.Sprintf(format, args...)})
}
