package drift

import "math"

// axis follows one axis.
type axis struct {
	name  string
	gaps  gaps
	uu    meanSquare
	anew  clamping
	carry scale
	felt  perKelvin // what is believed of the temperature's say, likewise
	ways  beliefs   // of how it moves, from before the last event or change; nil: none

	segment latest // since the last event
	from    int    // where in the segment the chart begins
	bank    *bank
	saved   []saved // of the bank, the latest last
	spare   *bank   // one that is needed no longer
	chart   *chart
	built   float64 // the gap they were built for
	aDay    float64 // and what part of a usual day's use an hour is; 0: not known
	air     climate // at the last check
	warm    bool    // and whether temperatures could tell anything
	jumped  *jump   // the last one that the bank got
	now     Lean    // what is believed at the last check

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
		a.carry, a.ways = a.bank.sigma().kept(), a.bank.learned()
		a.felt = a.bank.felt()
	}
	a.segment, a.from, a.moved, a.outside = latest{}, 0, nil, nil
	a.bank, a.chart, a.saved, a.spare, a.jumped = nil, nil, nil, nil, nil
}

// checks is how many the bank rests on.
func (a *axis) checks() int {
	if a.bank == nil {
		return 0
	}
	return a.bank.restsOn()
}

// add takes in a check; limit is the tolerance in mm/m, 0 for none.
func (a *axis) add(o observation, limit float64) {
	a.gaps.add(o.t)
	if known(o.u) {
		a.uu.sum += o.u * o.u
		a.uu.n++
		a.anew.met(o.u * o.u)
	}
	o.r = a.relative(o.u)
	o.dim = a.dim(&o)
	scatter := math.NaN() // of the checks before this one, which must not excuse itself
	if a.bank != nil {
		scatter = a.bank.sigma().variance()
	}
	a.segment.add(o)
	switch n := a.segment.n(); {
	case a.bank == nil, n <= 3, rebuilds(n) && a.stale():
		a.weighAnew()
		a.built, a.aDay = a.gaps.typical(), a.segment.usedADay()
		a.warm = a.segment.warms()
		a.redraw()
		a.follow(limit)
	default:
		a.feed(n - 1)
		a.chart.add(a.segment.last())
	}
	a.watch()
	a.now = a.believed()
	a.judge(limit, scatter)
}

// rebuilds says at which counts the typical gap may be learned again; later it would cost more than it brings.
func rebuilds(n int) bool { return n == 6 || n == 12 || n == 24 || n == 48 || n%192 == 0 }

func (a *axis) stale() bool {
	if (a.segment.usedADay() > 0) != (a.aDay > 0) || a.segment.warms() && !a.warm {
		return true
	}
	if a.segment.n() > 48 {
		return false
	}
	if a.anew.uneven() && a.uu.n > 3 {
		return true
	}
	ratio := a.gaps.typical() / a.built
	return ratio > 1.5 || ratio < 1/1.5
}

// redraw starts a new chart and feeds it the checks that it should have seen.
func (a *axis) redraw() {
	a.chart = newChart(a.built, a.carry, a.felt.mean)
	for i := a.from; i < a.segment.n(); i++ {
		a.chart.add(a.segment.at(i))
	}
}

// follow starts a new bank with the segment.
func (a *axis) follow(limit float64) {
	a.bank = newBank(a.built, a.aDay, a.warm, a.start(limit), a.ways, a.felt)
	a.saved = a.saved[:0]
	for i := a.segment.gone; i < a.segment.n(); i++ {
		a.feed(i)
	}
}

// jump is a change that the bank took in: an intervention in the level before one check of the segment, of about so
// many mm/m, and one in the slope before another; -1: none.
type jump struct {
	level, slope int
	size         float64
}

// first is the earlier of the two.
func (j jump) first() int {
	if j.slope < 0 || j.level >= 0 && j.level < j.slope {
		return j.level
	}
	return j.slope
}

// saved is the bank before a check of the segment.
type saved struct {
	before int
	bank   *bank
}

// So often the bank is saved, and so many of the latest copies are kept: that is how far back it can take in a change.
const (
	saves = 32
	keeps = 12
)

// feed shows the bank a check of the segment.
func (a *axis) feed(i int) {
	if i > 0 && i%saves == 0 {
		room := &bank{}
		if len(a.saved) == keeps {
			room = a.saved[0].bank // it is kept no longer
			a.saved = append(a.saved[:0], a.saved[1:]...)
		}
		a.saved = append(a.saved, saved{i, a.bank.copyInto(room)})
	}
	if j := a.jumped; j != nil && a.bank.n > 2 {
		if j.first() == i {
			a.bank.part()
		}
		if j.level == i {
			a.bank.lift(j.size)
		}
		if j.slope == i {
			a.bank.bend()
		}
	}
	o := a.segment.at(i)
	a.bank.air = a.air
	a.bank.learn(o)
	if i < a.segment.n()-1 {
		return
	}
	a.bank.weigh()
	if a.bank.n > 2 && known(o.u) {
		a.anew.add(a.bank.missed(o.r), o.u*o.u)
	}
}

// jump tells the bank of a change, and shows it again what came since.
func (a *axis) jump(j jump) {
	for n := len(a.saved); n > 0 && a.saved[n-1].before > j.first(); n = len(a.saved) {
		if n == 1 && a.saved[0].before > saves { // no further back: it is kept no longer
			j = jump{max(j.level, a.saved[0].before), -1, j.size}
			break
		}
		a.saved = a.saved[:n-1]
	}
	if n := len(a.saved); n > 0 {
		back := a.saved[n-1]
		a.saved = a.saved[:n-1] // it is saved again
		a.jumped = &j
		a.bank = back.bank
		for i := back.before; i < a.segment.n(); i++ {
			a.feed(i)
		}
		return
	}
	a.jumped = &j
	a.follow(0)
}

// leastVariance keeps what is divided by a scatter a figure; no spindle is known to 1e-20 mm/m.
const leastVariance = 1e-40

// start is what is believed of sigma at the beginning of a segment.
func (a *axis) start(limit float64) scale {
	s := a.startsFrom(limit)
	s.square = max(s.square, leastVariance*s.dof)
	return s
}

func (a *axis) startsFrom(limit float64) scale {
	if a.carry.dof > 0 {
		return a.carry
	}
	if uu := a.uu.mean(); uu > 0 {
		return scale{priorChecks * sq(priorTimesU) * uu, priorChecks}
	}
	// Nothing but the readings to go by.
	obs := a.segment.o[:min(len(a.segment.o), 48)]
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
		clamping = max(0.05*uu, a.bank.sigma().variance()-uu)
		if a.anew.uneven() {
			clamping = a.anew.variance(uu)
		}
	}
	const least = 1e-4 // so that one check does not make all others worthless
	return max(least, (clamping+u*u)/(clamping+uu))
}

// weighAnew gives the checks so far the weights that are known to be right by now.
func (a *axis) weighAnew() {
	if a.anew.uneven() {
		for i := range a.segment.o {
			a.segment.o[i].r = a.relative(a.segment.o[i].u)
		}
	}
}

// believed is what is believed at the last check.
func (a *axis) believed() Lean {
	out := a.bank.now()
	if a.segment.n() == 1 && a.uu.n == 0 && a.carry.dof == 0 {
		out.U, out.RateU = math.NaN(), math.NaN()
	}
	return out
}

// scatter is the standard deviation from check to check beyond what u explains.
func (a *axis) scatter() float64 {
	if a.bank == nil || a.bank.n < 3 {
		return math.NaN()
	}
	variance, uu := a.bank.sigma().variance(), a.uu.mean()
	if a.anew.uneven() { // the good checks know it better than the mean of all does
		c := a.anew.variance(uu)
		return math.Sqrt(variance * c / (c + uu))
	}
	return math.Sqrt(math.Max(0, variance-uu))
}

func known(u float64) bool { return u > 0 && !math.IsInf(u, 0) }
