package advice

import "math"

// outlook is what is to be expected of one move.
type outlook struct {
	cost   float64 // what the choice makes small
	chance float64 // of both axes being within after it
	x, y   float64 // expected lean, mm/m
	far    float64 // how far off it will be: the logarithm of the mean square in limits, over the axes measured
}

// farCost makes a move that ends nearer the better one where the chances are alike, or nil.
const farCost = 0.05

// foresee weighs a move (in nominal mm/m).
func (b *belief) foresee(m []float64, touched int) outlook { return b.foreseeBy(b.terms, m, touched) }

// foreseeBy weighs it by some of the terms, whose weights need not sum to one.
func (b *belief) foreseeBy(terms []term, m []float64, touched int) outlook {
	var o outlook
	var sum float64
	noise, square := 0.0, b.limit*b.limit
	for i := range terms {
		t := &terms[i]
		p := t.after(m)
		if touched > 0 {
			noise = b.disturbance(t.quality, m)
		}
		p.xx += noise
		p.yy += noise
		in := p.inside(b.limit)
		sum += t.weight
		o.chance += t.weight * in
		o.x += t.weight * p.x
		o.y += t.weight * p.y
		var off float64
		if !b.blind[0] {
			off += p.xx + p.x*p.x
		}
		if !b.blind[1] {
			off += p.yy + p.y*p.y
		}
		o.far += t.weight * math.Log1p(off/square)
	}
	o.chance, o.x, o.y = o.chance/sum, o.x/sum, o.y/sum
	o.far /= sum
	o.cost = 1 - o.chance + farCost*o.far
	return o
}
