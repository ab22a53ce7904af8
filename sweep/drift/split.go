package drift

import (
	"math"
	"slices"
)

// These are the explanations of a reported change, beside the one that the machine only went on as it does.
const (
	jumpChance = 0.1  // before its size was seen
	leastJump  = 2.0  // its standard deviation, in units of sigma, at least
	mostJump   = 1e6  // and at most: beyond it what is known beside it drowns in the rounding
	unlikely   = 1e-4 // weight below which a hypothesis ends beside those that begin here
)

// part gives the bank a second half before the next check is taken in: as it goes on, and as a machine that became
// another one, by a jump of about this size in mm/m. Which of them is believed is for the checks that follow to say.
func (b *bank) part(size float64) {
	b.h = slices.DeleteFunc(b.h, func(h hypothesis) bool { return h.weight < unlikely })
	best, total := math.Inf(-1), 0.0
	for i := range b.h {
		best = max(best, b.h[i].score)
	}
	for i := range b.h {
		h := &b.h[i]
		h.score -= best
		h.anew = false
		total += h.prior * math.Exp(h.score)
	}
	now, sigma, ways, felt := b.now(), b.sigma(), b.learned(true), b.felt()
	variance := sigma.variance()
	jump := max(sq(leastJump), sq(size)/variance)
	old := len(b.h)
	for i, p := range processes(b.gap, b.aDay > 0, b.warm) {
		p.prior = ways[i]
		h := hypothesis{process: p, place: i, anew: true, square: sigma.square, score: math.Log(jumpChance * total)}
		h.begin(&p, now.Level, min(sq(now.U)/variance+jump, sq(mostJump)), b.air.usual, felt)
		b.h = append(b.h, h)
	}
	for i := range b.h[:old] {
		b.h[i].score += math.Log(1 - jumpChance)
	}
	b.split = b.n
}

// restsOn is how many checks what is believed rests on: those since the split where the machine became another one
// then.
func (b *bank) restsOn() int {
	sum := 0.0
	for i := range b.h {
		if b.h[i].anew {
			sum += b.h[i].weight
		}
	}
	if sum > 0.5 {
		return b.n - b.split
	}
	return b.n
}

// copy is the bank as it now is, to go back to.
func (b *bank) copy() *bank { return b.copyInto(&bank{}) }

// copyInto puts the copy into the room of a bank that is needed no longer, unless that is far too large: banks lose
// most of their hypotheses, and what is kept for years should not be what they began with.
func (b *bank) copyInto(room *bank) *bank {
	h, decay := room.h[:0], room.decay[:0]
	if cap(h) > len(b.h)+len(b.h)/4 {
		h = make([]hypothesis, 0, len(b.h))
	}
	*room = *b
	room.h, room.decay = append(h, b.h...), append(decay, b.decay...)
	return room
}
