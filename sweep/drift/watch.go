package drift

import "math"

// threshold is the evidence that raises an alarm, as a normal deviate: for both axes together less than one false alarm
// in 370 checks of a healthy machine (study.md). It grows a little with the number of candidates.
func threshold(n int) float64 {
	return 3.41 + 0.012*math.Log(math.Max(float64(n), 500)/500)
}

// Evidence below which an alarm has lost its reason, and what else decides whether it stands.
const (
	doubtful = 2.0
	certain  = 5.0 // log likelihood that speaks for a return to the old level, and by which a ramp is out of the question
	backlash = 0.8 // of evidence, between a return that leaves things as they were and a new alarm
	leastOfU = 0.3 // readings that repeat themselves do not make a step of nothing an alarm: the scatter is this much of u at least
)

// standing is a shift or a trend that stands.
type standing struct {
	change
	base     float64 // the level before, when it was raised
	baseZ    float64 // at which temperature, as observations count it
	back     float64 // how much likelier it is that the lean is back there
	backFrom int     // since when, in the chart's count
	size     float64 // of the change while nothing spoke for a return
	age      int     // checks since it was raised
}

// watch looks for a change after a new check, or whether the one that stands still has its reason.
func (a *axis) watch() {
	a.chart.floor = sq(leastOfU) * a.uu.mean()
	if !a.chart.speaks() {
		return
	}
	m := a.moved
	if m == nil {
		f := a.chart.look(false)
		if f.evidence > threshold(a.chart.n()) {
			a.raise(a.chart.look(true))
		}
		return
	}
	back := a.wentBack(m)
	f := a.chart.look(m.back == 0)
	if f.evidence < doubtful || back && f.evidence < threshold(a.chart.n())-backlash {
		a.moved = nil // as good as nothing; the bank weighs that by itself
		return
	}
	if back {
		a.carry = a.bank.sigma().kept()
		a.from = max(a.from+m.backFrom, a.segment.gone)
		a.moved = nil
		a.redraw()
		a.jump(jump{a.from, -1, -m.size})
		return
	}
	if m.back == 0 {
		best := f.best()
		if best.ramp != m.ramp && math.Abs(f.lead()) < 1 {
			best = f.step
			if m.ramp {
				best = f.ramp
			}
		}
		if !math.IsInf(best.gain, -1) {
			m.change, m.size = best, best.size
			if m.age++; redates(m.age) || redates(a.chart.n()-best.from) {
				if j := a.jumpOf(f); a.jumped != nil && (j.level != a.jumped.level || j.slope != a.jumped.slope) {
					a.jump(j) // it is dated better now
				}
			}
		}
	}
}

func (a *axis) raise(f finding) {
	c := f.best()
	a.moved = &standing{change: c, base: c.level, baseZ: c.mz, size: c.size, backFrom: a.chart.n()}
	a.jump(a.jumpOf(f))
}

// redates says whether the bank takes in a better date of a change so many checks after it.
func redates(age int) bool { return age <= 32 && age&(age-1) == 0 }

// jumpOf is what the bank is to take in of a finding.
func (a *axis) jumpOf(f finding) jump {
	j := jump{-1, -1, f.best().size}
	if f.step.gain > f.ramp.gain-certain {
		j.level, j.size = a.from+f.step.from, f.step.size
	}
	if f.ramp.gain > f.step.gain-certain { // what a ramp has come to by now must not pass for a level
		j.slope = a.from + f.ramp.from
	}
	return j
}

// wentBack weighs the last check's word for the old level against the new one; a cumulative sum of log likelihood
// ratios (E. S. Page, Biometrika 41 (1954) 100-115).
func (a *axis) wentBack(m *standing) bool {
	o := a.segment.last()
	s2 := a.bank.sigma().variance() * (o.r + float64(o.dim))
	size := math.Copysign(math.Max(math.Abs(m.size), 1.5*math.Sqrt(s2)), m.size)
	before := m.back
	y := o.y - m.perK*(o.z-m.baseZ)
	m.back = math.Max(0, m.back+(sq(y-m.base-size)-sq(y-m.base))/(2*s2))
	if before == 0 {
		m.backFrom = a.chart.n() - 1
	}
	return m.back > certain
}

// judge raises or ends the alarm of an axis outside its tolerance: by what is believed of its level, or by the last
// check alone where that lies beyond the limit by more than checks scatter. scatter is their variance before the last
// check: among few checks one far outside makes it so large that it would excuse itself.
func (a *axis) judge(limit, scatter float64) {
	if limit <= 0 {
		a.outside = nil
		return
	}
	last := a.segment.last()
	now := a.now
	over := math.Abs(now.Level) - limit
	alone := math.Abs(last.y) - limit
	sigma := last.u
	needs := 2.0
	if known(scatter) {
		sigma, needs = math.Sqrt(scatter*last.r), 3
	}
	switch {
	case over > oneSided*now.U, known(sigma) && alone > needs*sigma:
		if a.outside == nil {
			a.outside = &Alarm{Kind: Outside, Axis: a.name, Since: last.at}
		}
		a.outside.SizeMMPerM = math.Max(over, 0)
		if over <= 0 {
			a.outside.SizeMMPerM = alone
		}
	case over < 0 && alone < 0:
		a.outside = nil
	}
}

// oneSided is the normal deviate that 5 % exceed.
const oneSided = 1.6448536269514722
