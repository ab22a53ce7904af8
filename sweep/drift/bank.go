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

// carried bounds how much of what was learned of sigma outlives an event.
const carried = 30

// Every so many checks, hypotheses that fell this far behind are dropped: on a long record they cost most of the time. An
// event or an alarm brings all of them back.
const (
	prunes   = 256
	hopeless = 25
)

// hypothesis is a process with what it knows and how well it did.
type hypothesis struct {
	process
	place int // on the list of processes
	state
	square float64 // sum of squares behind sigma, prior included
	score  float64 // log of how well it predicted, without its prior
	weight float64 // posterior
}

// bank is all hypotheses of one axis.
type bank struct {
	gap    float64 // typical time between checks, days
	taus   []float64
	decay  []float64
	lastDT float64
	h      []hypothesis
	listed int // processes on the list; some may have been dropped since
	n      int
	last   float64 // days
	dof    float64 // of sigma
	start  scale
}

// beliefs is how much each process on the list weighs before anything was seen.
type beliefs []float64

// Where a machine was seen to move, or an event made it another one, half of what was learned of how it moves is kept; and
// one that has just moved by itself is less likely to hold still.
const (
	kept          = 0.5
	stillAfterAll = 0.3
)

// learned is what to believe of how the machine moves when its level is anybody's guess again.
func (b *bank) learned(moved bool) beliefs {
	out := make(beliefs, b.listed)
	for i := range b.h {
		out[b.h[i].place] = kept * b.h[i].weight
	}
	sum := 0.0
	for i, p := range processes(b.gap) {
		out[i] += (1 - kept) * p.prior
		if moved && p.kind == Steady {
			out[i] *= stillAfterAll
		}
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

// newBank makes a bank for checks that come about every gap days; nil beliefs are those of the list.
func newBank(gap float64, start scale, before beliefs) *bank {
	b := &bank{gap: gap, start: start, taus: make([]float64, len(tausInGaps)), decay: make([]float64, len(tausInGaps)), lastDT: -1}
	for i, t := range tausInGaps {
		b.taus[i] = t * gap
	}
	for i, p := range processes(gap) {
		if before != nil {
			p.prior = before[i]
		}
		b.h = append(b.h, hypothesis{process: p, place: i})
	}
	b.listed = len(b.h)
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

// add takes in a check at t days: y in mm/m, r its variance relative to sigma's.
func (b *bank) add(t, y, r float64) {
	if b.n++; b.n == 1 {
		b.first(t, y, r)
		return
	}
	b.decays(t - b.last)
	dt := t - b.last
	b.last = t
	const forget = 1 - 1.0/memory
	dof := b.dof * forget
	b.dof = dof + 1
	best := math.Inf(-1)
	for i := range b.h {
		h := &b.h[i]
		decay := 0.0
		if h.tau >= 0 {
			decay = b.decay[h.tau]
		}
		h.predict(&h.process, dt, decay)
		h.update(&h.process, y, r)
		// The Student density of the residual, less what all hypotheses share.
		square := h.square * forget
		more := h.residual * h.residual / (h.predicted * square)
		h.square = square * (1 + more)
		h.score = h.score*forget - 0.5*math.Log(h.predicted*square) - 0.5*(dof+1)*log1p(more)
		best = max(best, h.score)
	}
	if b.n%prunes == 0 {
		b.h = slices.DeleteFunc(b.h, func(h hypothesis) bool { return h.score < best-hopeless })
	}
	b.weigh(best)
}

func (b *bank) first(t, y, r float64) {
	b.last, b.dof = t, b.start.dof
	for i := range b.h {
		h := &b.h[i]
		h.begin(&h.process, y, r)
		h.square, h.weight = b.start.square, h.prior
	}
}

// weigh turns scores into weights.
func (b *bank) weigh(best float64) {
	const least = 1e-9 // so that none is ever past reviving
	sum := 0.0
	for i := range b.h {
		h := &b.h[i]
		d := h.score - best
		if d < -40 {
			h.weight = least
		} else {
			h.weight = h.prior*math.Exp(d) + least
		}
		sum += h.weight
	}
	for i := range b.h {
		b.h[i].weight /= sum
	}
}

// student widens a variance for sigma being known with so many degrees of freedom only.
func (b *bank) student() float64 {
	if b.dof <= 2.5 {
		return 5
	}
	return b.dof / (b.dof - 2)
}

// now is the lean and the rate as the bank sees them, with standard uncertainties.
func (b *bank) now() Lean {
	var out Lean
	for i := range b.h {
		h := &b.h[i]
		m, _ := h.lean()
		out.Level += h.weight * m
		out.Rate += h.weight * h.slope(b)
	}
	wide := b.student()
	var v, vr float64
	for i := range b.h {
		h := &b.h[i]
		s2 := h.square / b.dof * wide
		m, p := h.lean()
		v += h.weight * (p*s2 + sq(m-out.Level))
		rate := h.bb
		if h.kind == Settling {
			tau := b.taus[h.tau]
			rate += (h.ss/tau - 2*h.bs) / tau
		}
		vr += h.weight * (max(0, rate)*s2 + sq(h.slope(b)-out.Rate))
	}
	out.U, out.RateU = math.Sqrt(v), math.Sqrt(vr)
	return out
}

// slope is how fast the truth moves, a day.
func (h *hypothesis) slope(b *bank) float64 {
	if h.kind == Settling {
		return h.rate - h.swing/b.taus[h.tau]
	}
	return h.rate
}

// sigma is what is known of the scatter from check to check.
func (b *bank) sigma() scale {
	sum := 0.0
	for i := range b.h {
		sum += b.h[i].weight * b.h[i].square
	}
	return scale{sum, b.dof}
}

// kinds says how much each kind of process weighs.
func (b *bank) kinds() [kinds]float64 {
	var out [kinds]float64
	for i := range b.h {
		out[b.h[i].kind] += b.h[i].weight
	}
	return out
}

func sq(x float64) float64 { return x * x }

// holdsStill is how likely it is that the axis does not move, or only settles.
func (b *bank) holdsStill() float64 {
	sum := 0.0
	for i := range b.h {
		if h := &b.h[i]; h.wander == 0 && h.steep == 0 && !h.alive {
			sum += h.weight
		}
	}
	return sum
}
