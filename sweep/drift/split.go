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

// part makes room in the bank for a change: what is believed next begins with the checks that follow.
func (b *bank) part() {
	b.h = slices.DeleteFunc(b.h, func(h hypothesis) bool { return h.weight < unlikely })
	for i := range b.h {
		b.h[i].anew = false
	}
	b.split = b.n
}

// intervene gives every hypothesis a second one, in which something happened at this moment: the variance of the part
// that it touched grows, and the other parts keep what they had learned. Which of them is believed is for the checks
// that follow to say.
func (b *bank) intervene(touch func(h *hypothesis, variance float64)) {
	variance := b.sigma().variance()
	for _, h := range b.h {
		if h.anew {
			continue
		}
		h.anew = true
		h.score += math.Log(jumpChance)
		touch(&h, variance)
		b.h = append(b.h, h)
	}
}

// jumpVariance is that of a level intervention of about so many mm/m, in units of sigma.
func jumpVariance(size, variance float64) float64 {
	return min(max(sq(leastJump), sq(size)/variance), sq(mostJump))
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
