package drift

import (
	"math"
	"slices"
)

// These are the explanations of a reported change, beside the one that the machine only went on as it does.
const (
	jumpChance = 0.01 // at one check, before anything was seen
	mostJump   = 1e6  // and at most: beyond it what is known beside it drowns in the rounding
	unlikely   = 1e-4 // weight below which a hypothesis ends beside those that begin here
)

// part makes room in the bank for a change: what is believed next begins with the checks that follow.
func (b *bank) part() {
	b.weigh()
	b.h = slices.DeleteFunc(b.h, func(h hypothesis) bool { return h.weight < unlikely })
	for i := range b.h {
		b.h[i].anew = false
	}
	b.split = b.n
}

// lift gives every hypothesis a second one, in which the level moved at this moment by about so many mm/m; the other
// parts keep what they had learned. Which of them is believed is for the checks that follow to say.
func (b *bank) lift(size float64) {
	b.weigh()
	b.h = slices.Grow(b.h, len(b.h))
	jump := min(max(sq(changeSize), sq(size)/b.sigma().variance()), sq(mostJump))
	for _, h := range b.h {
		if !h.anew {
			h.anew = true
			h.score += math.Log(jumpChance)
			h.ll += jump
			b.h = append(b.h, h)
		}
	}
}

// bend gives the bank hypotheses in which a new slope of any size began at this moment, straight or quickening from
// then on, for each size of the level disturbance: how fast the machine moved before says nothing of it.
func (b *bank) bend() {
	type part struct {
		wander     float64
		used, warm bool
	}
	b.weigh()
	heaviest := map[part]float64{}
	for i := range b.h {
		if h := &b.h[i]; h.tau < 0 && !h.anew {
			key := part{h.wander, h.used, h.warm}
			heaviest[key] = max(heaviest[key], h.weight)
		}
	}
	b.h = slices.Grow(b.h, 2*len(slopes[1:])*len(heaviest))
	for _, h := range b.h {
		key := part{h.wander, h.used, h.warm}
		if h.tau >= 0 || h.anew || h.weight < heaviest[key] {
			continue
		}
		heaviest[key] = math.Inf(1) // of two alike one is enough
		for _, size := range slopes[1:] {
			for _, way := range []bend{bends[0], bends[len(bends)-1]} {
				bent := h
				bent.anew = true
				bent.straighten()
				bent.steep, bent.quick = size.of/b.gap, way.quick/b.gap
				bent.place = slices.IndexFunc(b.list, func(p process) bool {
					return p.tau < 0 && p.wander == bent.wander && p.steep == bent.steep && p.turn == 0 &&
						p.quick == bent.quick &&
						p.warm == bent.warm && p.used == bent.used
				})
				if bent.place < 0 { // by hours nothing of this size stands on the list
					bent.place = h.place
				}
				bent.prior *= size.prior / (1 - slopes[0].prior) * way.prior / (bends[0].prior + bends[len(bends)-1].prior)
				bent.score += math.Log(jumpChance)
				bent.bb += sq(bent.steep)
				b.h = append(b.h, bent)
			}
		}
	}
}

// straighten lets the slope that there is now stay as it is.
func (h *hypothesis) straighten() {
	grown := 1 + h.quick*h.age
	h.rate *= grown
	h.bb *= grown * grown
	h.lb *= grown
	h.bs *= grown
	h.bk *= grown
	h.turn, h.quick, h.age = 0, 0, 0
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

// copyInto copies the bank, to go back to, into the room of one that is needed no longer, unless that is far too large:
// banks lose most of their hypotheses, and what is kept for years should not be what they began with.
func (b *bank) copyInto(room *bank) *bank {
	b.weigh()
	h, decay := room.h[:0], room.decay[:0]
	if cap(h) > len(b.h)+len(b.h)/4 {
		h = make([]hypothesis, 0, len(b.h))
	}
	*room = *b
	room.h, room.decay = append(h, b.h...), append(decay, b.decay...)
	return room
}
