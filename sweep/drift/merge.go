package drift

import (
	"cmp"
	"math"
	"slices"
)

// mergeCost is the most that a merger may cost: by how much what all hypotheses say together differs afterwards, in
// nats. A mean that is off by a thirteenth of its standard deviation costs as much.
const mergeCost = 0.003

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
			if merged = kept[i].cost(&x, b.dof) <= mergeCost; merged {
				kept[i].absorb(&x, b.dof)
			}
		}
		if !merged {
			kept = append(kept, x)
		}
	}
	b.h = kept
}

// cost bounds what it costs to make one of two hypotheses: infinitely much where they are of different processes. Of
// the level, the slope, the swing, the lean per kelvin and sigma each by itself it is the bound of A. R. Runnalls (IEEE
// Transactions on Aerospace and Electronic Systems 43 (2007) 989-999, from memory).
func (h *hypothesis) cost(x *hypothesis, dof float64) float64 {
	if h.steep != x.steep || h.turn != x.turn || h.quick != x.quick || h.age != x.age {
		return math.Inf(1)
	}
	w, unit := h.weight+x.weight, h.square/dof
	p := x.weight / w
	sum := 0.0
	part := func(apart, v, of float64) {
		if v > 0 && of > 0 {
			sum += math.Log(v+p*(of-v)+p*(1-p)*sq(apart)) - (1-p)*math.Log(v) - p*math.Log(of)
		} else if v != of || apart != 0 {
			sum = math.Inf(1)
		}
	}
	part(h.level-x.level, h.ll*unit, x.ll*unit)
	part(h.rate-x.rate, h.bb*unit, x.bb*unit)
	part(h.swing-x.swing, h.ss*unit, x.ss*unit)
	part(h.perK-x.perK, h.kk*unit, x.kk*unit)
	part(math.Log(h.square/x.square), 2/dof, 2/dof)
	return w / 2 * sum
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
