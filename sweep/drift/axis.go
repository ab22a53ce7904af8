package drift

import (
	"math"
	"time"
)

// observation is one check of one axis.
type observation struct {
	at   time.Time
	t    float64 // days since the record began
	y, u float64 // mm/m; u is NaN when not known
	r    float64 // variance relative to sigma's
}

// axis follows one axis.
type axis struct {
	name  string
	gaps  gaps
	uu    meanSquare
	carry scale
	calm  scale   // of sigma, when nothing spoke for a change
	ways  beliefs // of how it moves, from before the last event or change; nil: none

	segment  []observation // since the last event
	from     int           // where in the segment bank and chart begin
	bank     *bank
	chart    *chart
	bankFrom int
	built    float64 // the gap they were built for

	still   float64   // how likely it lately was, at most, that the axis holds still
	moved   *standing // shift or trend
	outside *Alarm
}

// meanSquare is the mean of the known uncertainties squared.
type meanSquare struct{ sum, n float64 }

func (m meanSquare) mean() float64 {
	if m.n == 0 {
		return 0
	}
	return m.sum / m.n
}

// restart begins a new segment: the machine is another one now.
func (a *axis) restart() {
	if a.bank != nil && a.bank.n > 2 {
		a.carry, a.ways = a.bank.sigma().kept(), a.bank.learned(false)
	}
	a.segment, a.from, a.bankFrom, a.moved, a.outside = nil, 0, 0, nil, nil
	a.bank, a.chart, a.calm = nil, nil, scale{}
}

// checks is how many the bank rests on.
func (a *axis) checks() int {
	if a.bank == nil {
		return 0
	}
	return a.bank.n
}

// add takes in a check; limit is the tolerance in mm/m, 0 for none.
func (a *axis) add(o observation, limit float64) {
	a.gaps.add(o.t)
	if known(o.u) {
		a.uu.sum += o.u * o.u
		a.uu.n++
	}
	o.r = a.relative(o.u)
	a.segment = append(a.segment, o)
	switch n := len(a.segment) - a.from; {
	case a.bank == nil, n <= 3, rebuilds(n) && a.stale():
		a.rebuild(limit)
	default:
		a.bank.add(o.t, o.y, o.r)
		a.chart.add(o.t, o.y, 1/o.r)
	}
	a.still = math.Max(0.97*a.still, a.bank.holdsStill())
	a.watch()
	a.judge(limit)
}

// rebuilds says at which counts the typical gap may be learned anew; later it would cost more than it brings.
func rebuilds(n int) bool { return n == 6 || n == 12 || n == 24 || n == 48 }

func (a *axis) stale() bool {
	ratio := a.gaps.typical() / a.built
	return ratio > 1.5 || ratio < 1/1.5
}

// rebuild begins bank and chart anew and shows them what they should have seen.
func (a *axis) rebuild(limit float64) {
	a.built = a.gaps.typical()
	a.chart = newChart(a.built, a.carry)
	for _, o := range a.segment[a.from:] {
		a.chart.add(o.t, o.y, 1/o.r)
	}
	a.follow(max(a.from, a.bankFrom), a.start(limit))
}

// follow begins the bank anew at an observation.
func (a *axis) follow(from int, start scale) {
	a.bankFrom = from
	a.bank = newBank(a.built, start, a.ways)
	for _, o := range a.segment[from:] {
		a.bank.add(o.t, o.y, o.r)
	}
}

// start is what is believed of sigma at the beginning of a segment.
func (a *axis) start(limit float64) scale {
	if a.carry.dof > 0 {
		return a.carry
	}
	if uu := a.uu.mean(); uu > 0 {
		return scale{priorChecks * sq(priorTimesU) * uu, priorChecks}
	}
	// Nothing but the readings to go by.
	obs := a.segment[a.from:]
	var ss float64
	for i := 1; i < len(obs); i++ {
		ss += sq(obs[i].y-obs[i-1].y) / 2
	}
	if n := float64(len(obs) - 1); ss > 0 {
		return scale{ss / n, 1}
	}
	if limit > 0 {
		return scale{sq(limit / 10), 1}
	}
	return scale{1e-6 * (1 + sq(obs[0].y)), 1}
}

// relative is the variance of a check relative to sigma's: what differs between checks besides u is learned.
func (a *axis) relative(u float64) float64 {
	uu := a.uu.mean()
	if !known(u) || uu == 0 {
		return 1
	}
	clamping := sq(priorTimesU)*uu - uu
	if a.bank != nil && a.bank.n > 2 {
		clamping = math.Max(0.05*uu, a.bank.sigma().variance()-uu)
	}
	return (clamping + u*u) / (clamping + uu)
}

// now is what is believed at the last check.
func (a *axis) now() Lean {
	out := a.bank.now()
	if len(a.segment)-a.from == 1 && a.uu.n == 0 && a.carry.dof == 0 {
		out.U, out.RateU = math.NaN(), math.NaN()
	}
	return out
}

// scatter is the standard deviation from check to check beyond what u explains.
func (a *axis) scatter() float64 {
	if a.bank == nil || a.bank.n < 3 {
		return math.NaN()
	}
	return math.Sqrt(math.Max(0, a.bank.sigma().variance()-a.uu.mean()))
}

func known(u float64) bool { return u > 0 && !math.IsInf(u, 0) }
