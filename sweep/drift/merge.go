package drift

import (
	"cmp"
	"math"
	"slices"
)

// alike is by how many of its standard deviations a state may differ from another that says the same.
const alike = 0.5

// merge makes one of hypotheses of the same process that have come to say the same: an intervention parts each in two,
// and once the checks have outgrown it the two differ in nothing that matters. What is left weighs as much as they did
// together, and has their mean and variance (J. Harrison and C. F. Stevens, Journal of the Royal Statistical Society B
// 38 (1976) 205-247, from memory).
func (b *bank) merge() {
	slices.SortStableFunc(b.h, func(x, y hypothesis) int {
		return cmp.Or(cmp.Compare(x.place, y.place), cmp.Compare(y.weight, x.weight))
	})
	kept := b.h[:0]
	for _, x := range b.h {
		merged := false
		for i := len(kept) - 1; i >= 0 && kept[i].place == x.place && !merged; i-- {
			if merged = kept[i].same(&x, b.dof); merged {
				kept[i].absorb(&x, b.dof)
			}
		}
		if !merged {
			kept = append(kept, x)
		}
	}
	b.h = kept
}

// same reports whether two hypotheses are of one process and nearly in one state.
func (h *hypothesis) same(x *hypothesis, dof float64) bool {
	if h.steep != x.steep || h.turn != x.turn || h.quick != x.quick || h.age != x.age {
		return false
	}
	unit := h.square / dof
	near := func(a, b, variance float64) bool { return sq(a-b) <= sq(alike)*variance }
	wide := func(a, b float64) bool { return math.Abs(a-b) <= alike*sq(alike)*a }
	return near(h.level, x.level, h.ll*unit) && near(h.rate, x.rate, h.bb*unit) && near(h.swing, x.swing, h.ss*unit) &&
		near(h.perK, x.perK, h.kk*unit) && wide(h.ll, x.ll) && wide(h.bb, x.bb) && wide(h.square, x.square)
}

// absorb takes another hypothesis in: weights add, mean and variance are those of both.
func (h *hypothesis) absorb(x *hypothesis, dof float64) {
	h.score += math.Log1p(x.weight / h.weight)
	h.weight += x.weight
	h.anew = h.anew && x.anew
	part, unit := x.weight/h.weight, h.square/dof
	l, r, s, k := x.level-h.level, x.rate-h.rate, x.swing-h.swing, x.perK-h.perK
	h.level += part * l
	h.rate += part * r
	h.swing += part * s
	h.perK += part * k
	between := part * (1 - part) / (unit * sq(student(dof)))
	h.ll += part*(x.ll-h.ll) + between*l*l
	h.lb += part*(x.lb-h.lb) + between*l*r
	h.ls += part*(x.ls-h.ls) + between*l*s
	h.lk += part*(x.lk-h.lk) + between*l*k
	h.bb += part*(x.bb-h.bb) + between*r*r
	h.bs += part*(x.bs-h.bs) + between*r*s
	h.bk += part*(x.bk-h.bk) + between*r*k
	h.ss += part*(x.ss-h.ss) + between*s*s
	h.sk += part*(x.sk-h.sk) + between*s*k
	h.kk += part*(x.kk-h.kk) + between*k*k
	h.square += part * (x.square - h.square)
}
