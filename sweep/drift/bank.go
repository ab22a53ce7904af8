package drift

import (
	"math"
	"slices"
)

// What is believed of sigma before anything was seen: as wide as if so many checks had shown so many times u.
const (
	priorChecks = 4
	priorTimesU = 1.25
)

// memory is how many checks the weights and sigma remember; more would make the bank deaf to a machine that changes.
const memory = 1000

// forget is what a check still counts once another has come.
const forget = 1 - 1.0/memory

// carried bounds how much of the knowledge of sigma outlives an event.
const carried = 30

// Every so many checks, hypotheses that weigh as good as nothing are dropped, and beyond so many the lightest: on a
// long record they cost most of the time. An event or an alarm brings all of them back.
const (
	prunes   = 32
	hopeless = 1e-7
	carrying = 24
	lightest = 1e-3 // nothing heavier is dropped
)

// hypothesis is a process with what it knows and how well it did.
type hypothesis struct {
	process
	place int // on the list of processes
	state
	square float64 // sum of squares behind sigma, prior included
	score  float64 // log of how well it predicted, without its prior
	weight float64 // posterior
	anew   bool    // began at the last split
}

// bank is all hypotheses of one axis.
type bank struct {
	gap    float64 // typical time between checks, days
	taus   []float64
	decay  []float64
	lastDT float64
	h      []hypothesis
	list   []process // those the bank began with; some hypotheses may have been dropped since
	n      int
	last   float64   // days
	aDay   float64   // day of use in an hour; 0: hours are not known
	used   usage     // at the last check
	warm   bool      // half of the hypotheses lean with the temperature
	felt0  perKelvin // what was believed of their say at the beginning
	air    climate   // at the last check
	dof    float64   // of sigma
	start  scale
	split  int     // after how many checks it was split; 0: never
	best   float64 // the best score
	stale  bool    // the weights are of an earlier check
}

// beliefs is how much each process on the list weighs before anything was seen.
type beliefs []float64

// kept is how much of the knowledge of how it moves outlives an event that made the machine another one.
const kept = 0.5

// learned is what to believe of how the machine moves when its level is anybody's guess again.
func (b *bank) learned() beliefs {
	out := make(beliefs, len(b.list))
	for i := range b.h {
		out[b.h[i].place] += kept * b.h[i].weight
	}
	sum := 0.0
	for i, p := range b.list {
		out[i] += (1 - kept) * p.prior
		sum += out[i]
	}
	for i := range out {
		out[i] /= sum
	}
	return out
}

// scale is what is known of sigma: a sum of squares (mm/m squared) with so many degrees of freedom.
type scale struct{ square, dof float64 }

func (s scale) variance() float64 { return s.square / s.dof }

// kept is what is handed on across an event.
func (s scale) kept() scale {
	if s.dof > carried {
		s.square *= carried / s.dof
		s.dof = carried
	}
	return s
}

// newBank makes a bank for checks that come about every gap days; nil beliefs are those of the list. aDay is how much
// of a usual day's use an hour is, 0 where hours are not known; warm says whether temperatures are, and felt what is
// believed of their say.
func newBank(gap, aDay float64, warm bool, start scale, before beliefs, felt perKelvin) *bank {
	if felt.variance == 0 {
		felt.variance = sq(warmPrior)
	}
	b := &bank{gap: gap, aDay: aDay, warm: warm, felt0: felt, start: start, taus: make([]float64, len(tausInGaps)),
		decay: make([]float64, len(tausInGaps)), lastDT: -1}
	for i, t := range tausInGaps {
		b.taus[i] = t * gap
	}
	b.list = processes(gap, aDay > 0, warm)
	b.h = make([]hypothesis, 0, len(b.list))
	for i, p := range b.list {
		if len(before) == len(b.list) {
			p.prior = before[i]
		}
		b.h = append(b.h, hypothesis{process: p, place: i})
	}
	return b
}

func (b *bank) decays(dt float64) {
	if dt == b.lastDT {
		return
	}
	b.lastDT = dt
	for i, tau := range b.taus {
		b.decay[i] = math.Exp(-dt / tau)
	}
}

// pace is how fast use goes beside the days of late: 1 is as usual.
func (b *bank) pace() float64 {
	if b.aDay > 0 && finite(b.used.aDay) {
		return b.used.aDay * b.aDay
	}
	return 1
}

// learn takes in a check without weighing the hypotheses again: of many checks in a row only the last needs that.
func (b *bank) learn(o *observation) {
	y, r := o.y, o.r
	if b.n++; b.n == 1 {
		b.first(o)
		return
	}
	dt := o.t - b.last
	b.decays(dt)
	ran := dt
	if b.aDay > 0 {
		if ran = (o.used.hours - b.used.hours) * b.aDay; !finite(ran) {
			ran = dt * b.pace()
		}
		b.used = o.used
	}
	b.last = o.t
	z, blind := o.z, float64(o.blind)
	dof := b.dof * forget
	b.dof = dof + 1
	best := math.Inf(-1)
	for i := range b.h {
		h := &b.h[i]
		decay := 0.0
		if h.tau >= 0 {
			decay = b.decay[h.tau]
		}
		if h.used {
			h.predict(&h.process, ran, decay)
		} else {
			h.predict(&h.process, dt, decay)
		}
		if blind == 0 || !h.warm {
			h.update(&h.process, y, r, z)
		} else {
			h.update(&h.process, y, r+b.swings(h, blind), z)
		}
		// The Student density of the residual, less what all hypotheses share.
		square := h.square * forget
		more := h.residual * h.residual / (h.predicted * square)
		h.square = square * (1 + more)
		h.score = h.score*forget - 0.5*math.Log(h.predicted*square) - 0.5*(dof+1)*log1p(more)
		best = max(best, h.score)
	}
	b.best, b.stale = best, true
	if since := b.n - b.split; since%prunes == 0 && b.n > prunes {
		b.prune()
	}
}

func (b *bank) first(o *observation) {
	b.last, b.used, b.dof = o.t, o.used, b.start.dof
	for i := range b.h {
		h := &b.h[i]
		h.begin(&h.process, o.y, o.r, o.z, b.felt0)
		h.square, h.weight = b.start.square, h.prior
	}
}

// prune drops hypotheses that weigh next to nothing. The others keep their weights.
func (b *bank) prune() {
	b.weigh()
	b.merge()
	least := hopeless
	if len(b.h) > carrying {
		weights := make([]float64, len(b.h))
		for i := range b.h {
			weights[i] = b.h[i].weight
		}
		slices.Sort(weights)
		least = max(least, min(weights[len(weights)-carrying], lightest))
	}
	warm, cold := least, least
	if b.warm { // of either kind the best few stay, since a season takes its time to show
		warm, cold = b.staying(true, least), b.staying(false, least)
	}
	b.h = slices.DeleteFunc(b.h, func(h hypothesis) bool {
		if h.warm {
			return h.weight < warm
		}
		return h.weight < cold
	})
}

// staying is the weight below which hypotheses that lean with the temperature, or those that do not, are dropped.
func (b *bank) staying(warm bool, least float64) float64 {
	const few = 6
	var weights []float64
	for i := range b.h {
		if b.h[i].warm == warm {
			weights = append(weights, b.h[i].weight)
		}
	}
	if len(weights) <= few {
		return 0
	}
	slices.Sort(weights)
	return min(least, weights[len(weights)-few])
}

// weigh turns scores into weights, where a check has come since they were.
func (b *bank) weigh() {
	if !b.stale {
		return
	}
	b.stale = false
	const least = 1e-9 // so that none is ever past reviving
	sum := 0.0
	for i := range b.h {
		h := &b.h[i]
		h.weight = least
		if d := h.score - b.best; d > -40 {
			h.weight += h.prior * math.Exp(d)
		}
		sum += h.weight
	}
	for i := range b.h {
		b.h[i].weight /= sum
	}
}

// student widens a variance for sigma being known with so many degrees of freedom only.
func (b *bank) student() float64 {
	return sq(student(b.dof))
}

// now is the lean and the rate as the bank sees them, with standard uncertainties.
func (b *bank) now() Lean {
	// Moments about what the first hypothesis says, in one pass.
	level0, _ := b.h[0].lean(b.air.usual)
	rate0 := b.h[0].slope(b)
	wide := b.student() / b.dof
	var level, rate, v, vr float64
	for i := range b.h {
		h := &b.h[i]
		s2 := h.square * wide
		m, p := h.lean(b.air.usual)
		m -= level0
		level += h.weight * m
		v += h.weight * (p*s2 + m*m)
		slope := h.slope(b) - rate0
		rate += h.weight * slope
		vr += h.weight * (h.slopeVariance(b)*s2 + slope*slope)
	}
	return Lean{
		level0 + level, math.Sqrt(max(0, v-level*level)),
		rate0 + rate, math.Sqrt(max(0, vr-rate*rate)),
	}
}

// slopeVariance is the variance of slope, in units of sigma.
func (h *hypothesis) slopeVariance(b *bank) float64 {
	switch {
	case h.settles():
		tau := b.taus[h.tau]
		return max(0, h.bb+(h.ss/tau-2*h.bs)/tau)
	case h.steep == 0:
		return 0
	case h.used:
		return h.bb * sq((1+h.quick*h.age)*b.pace())
	}
	return h.bb * sq(1+h.quick*h.age)
}

// slope is how fast the truth moves, a day.
func (h *hypothesis) slope(b *bank) float64 {
	if h.settles() {
		return h.rate - h.swing/b.taus[h.tau]
	}
	if h.steep == 0 {
		return 0
	}
	if h.used {
		return h.slopeNow(&h.process) * b.pace()
	}
	return h.slopeNow(&h.process)
}

// byHours is how likely it is that what moves the axis for good follows the spindle's hours and not the calendar; NaN
// where hours are not known or nothing moves it.
func (b *bank) byHours() float64 {
	var used, all float64
	for i := range b.h {
		if h := &b.h[i]; h.moves() {
			all += h.weight
			if h.used {
				used += h.weight
			}
		}
	}
	if b.aDay == 0 || all < 0.05 {
		return math.NaN()
	}
	return used / all
}

// sigma is what is known of the scatter from check to check.
func (b *bank) sigma() scale {
	sum := 0.0
	for i := range b.h {
		sum += b.h[i].weight * b.h[i].square
	}
	return scale{sum, b.dof}
}

// moves says whether the process moves for good, and not too slowly to be seen.
func (p *process) moves() bool { return p.tau < 0 && (p.steep > 0 || !p.slow) }

// settles says whether the process has a swing that dies away.
func (p *process) settles() bool { return p.tau >= 0 && !p.alive }

// slopeShows is by how many of its standard deviations a slope must differ from zero to be called a trend.
const slopeShows = 2

// kindOf names how a hypothesis moves.
func (b *bank) kindOf(h *hypothesis) Kind {
	switch {
	case h.settles():
		return Settling
	case sq(h.rate) > sq(slopeShows)*h.bb*h.square/b.dof:
		return Trending
	case h.slow && !h.alive:
		return Steady
	}
	return Wandering
}

// kinds says how much each kind of movement weighs.
func (b *bank) kinds() [kinds]float64 {
	var out [kinds]float64
	for i := range b.h {
		out[b.kindOf(&b.h[i])] += b.h[i].weight
	}
	return out
}

func sq(x float64) float64 { return x * x }
