package advice

import (
	"math"
	"sort"
)

// What may have become of one move; values from stuck on name the adjuster that did not move.
const (
	asAsked = 0
	slipped = 1
	unsaid  = 2 // the machine changed by more than anybody wrote down
	stuck   = 3
)

// maxTerms bounds the belief: the least likely terms go first.
const maxTerms = 48

// term is one Gaussian of the belief, under one reading of the past.
type term struct {
	gaussian
	logW    float64
	weight  float64
	quality int
	fates   []uint8 // what became of each move, oldest first
}

// quality is how much tightening disturbs, as parts of the limit and of the nominal move.
type quality struct{ ofLimit, ofMove, prior float64 }

var qualities = [...]quality{{0.06, 0.02, 0.3}, {0.2, 0.06, 0.4}, {0.5, 0.15, 0.3}}

// nature is how far the real effects may be from the nominal ones: along the nominal direction a gain, across it a
// coupling.
type nature struct{ gain, gainU, crossU, prior float64 }

var natures = [...]nature{{1, 0.12, 0.08, 0.35}, {1, 0.35, 0.25, 0.45}, {1.1, 1, 0.4, 0.2}}

// How likely the fates of a move are thought to be before it is measured. The study of these figures showed that the
// count of moves hardly depends on them; what matters is that none is nought.
const (
	priorReversed = 0.03 // one adjuster's sign is the wrong way round
	priorSlipped  = 0.08
	priorStuck    = 0.08 // each adjuster
	priorUnsaid   = 0.01
	priorShift    = 0.15 // nothing was moved, and yet it is elsewhere: another day, a knock
	forgetting    = 0.03 // standard deviation an effect wanders by between moves, of its nominal size
)

// leastEffect is the part of the limit below which all that an adjuster can do counts as nothing.
const leastEffect = 0.01

// belief is what is known of the machine.
type belief struct {
	limit float64   // mm/m
	size  []float64 // nominal size of each adjuster's effect, mm/m for one unit; moves inside are in these
	unitX []float64 // nominal direction
	unitY []float64
	terms []term
	blind [2]bool // axes the last measurement does not show
	alone bool    // there is but one: nothing works across it
}

func newBelief(p *Problem) *belief {
	n := len(p.Adjusters)
	b := &belief{alone: p.Subject.alone(), limit: p.Tolerance.Limit.MMPerM(), size: make([]float64, n),
		unitX: make([]float64, n), unitY: make([]float64, n)}
	for j, a := range p.Adjusters {
		b.size[j] = math.Hypot(a.Tilt, a.Nod)
		if b.size[j]*maxAmount < leastEffect*b.limit {
			b.size[j] = 0 // the largest amount does nothing that could be seen
		}
		if b.size[j] > 0 {
			b.unitX[j], b.unitY[j] = a.Tilt/b.size[j], a.Nod/b.size[j]
		}
	}
	for qi, q := range qualities {
		for ni, nat := range natures {
			b.terms = append(b.terms, b.prior(qi, nat, -1, q.prior*nat.prior))
			if ni != 1 {
				continue
			}
			for j := range n {
				b.terms = append(b.terms, b.prior(qi, nat, j, q.prior*priorReversed))
			}
		}
	}
	b.settle()
	return b
}

// prior is one kind of machine; reversed is the adjuster that works the wrong way round, or -1.
func (b *belief) prior(quality int, nat nature, reversed int, weight float64) term {
	d := 2 + 2*len(b.size)
	g := newGaussian(d)
	for j := range b.size {
		if b.size[j] == 0 {
			continue // its effect is not known: every move leaves it out
		}
		gain := nat.gain
		if j == reversed {
			gain = -gain
		}
		ux, uy := b.unitX[j], b.unitY[j]
		a := 2 + 2*j
		g.mean[a], g.mean[a+1] = gain*ux, gain*uy
		along, across := nat.gainU*nat.gainU, nat.crossU*nat.crossU
		if b.alone {
			across = 0
		}
		g.cov[a*d+a] = along*ux*ux + across*uy*uy
		g.cov[(a+1)*d+a+1] = along*uy*uy + across*ux*ux
		g.cov[a*d+a+1] = (along - across) * ux * uy
		g.cov[(a+1)*d+a] = g.cov[a*d+a+1]
	}
	return term{gaussian: g, logW: math.Log(weight), quality: quality}
}

// first takes in the first measurement: before it every lean was as likely as another.
func (b *belief) first(h Entry) {
	for i := range b.terms {
		t := &b.terms[i]
		d := len(t.mean)
		for axis, v := range [2]float64{h.Tilt, h.Nod} {
			u := b.floor([2]float64{h.TiltU, h.NodU}[axis])
			if math.IsNaN(v) {
				v, u = 0, 50*b.limit
			}
			t.mean[axis], t.cov[axis*d+axis] = v, u*u
		}
	}
}

func (b *belief) floor(u float64) float64 { return math.Max(u, 1e-3*b.limit) }

// step carries the belief through a move (in nominal mm/m; nil: an unknown move) and the measurement after it.
func (b *belief) step(m []float64, known bool, next Entry) {
	var out []term
	length := norm(m)
	for _, t := range b.terms {
		switch {
		case !known:
			out = b.extend(out, t, nil, b.wide(next), 1, unsaid, next)
		case length == 0:
			still := 0.1 * b.limit
			out = b.extend(out, t, nil, still*still, 1-priorShift, asAsked, next)
			out = b.extend(out, t, nil, b.wide(next), priorShift, unsaid, next)
		default:
			out = b.fates(out, t, m, length, next)
		}
	}
	b.terms = out
	b.settle()
}

func (b *belief) fates(out []term, t term, m []float64, length float64, next Entry) []term {
	v := b.disturbance(t.quality, m)
	stuckTotal := 0.0
	for j, mj := range m {
		if mj == 0 {
			continue
		}
		rest := append([]float64(nil), m...)
		rest[j] = 0
		out = b.extend(out, t, rest, v, priorStuck, stuck+j, next)
		stuckTotal += priorStuck
	}
	slip := 0.5*length + b.limit
	out = b.extend(out, t, m, v+slip*slip, priorSlipped, slipped, next)
	out = b.extend(out, t, nil, b.wide(next), priorUnsaid, unsaid, next)
	return b.extend(out, t, m, v, math.Max(0.1, 1-stuckTotal-priorSlipped-priorUnsaid), asAsked, next)
}

// disturbance is the variance that tightening adds on each axis.
func (b *belief) disturbance(q int, m []float64) float64 {
	a, p := qualities[q].ofLimit*b.limit, qualities[q].ofMove*norm(m)
	return a*a + p*p
}

// wide is a variance that lets the next measurement be anywhere.
func (b *belief) wide(next Entry) float64 {
	s := 10 * b.limit
	for _, v := range [2]float64{next.Tilt, next.Nod} {
		if !math.IsNaN(v) {
			s += math.Abs(v)
		}
	}
	return s * s
}

func (b *belief) extend(out []term, t term, m []float64, variance, chance float64, fate int, next Entry) []term {
	n := term{gaussian: t.clone(), logW: t.logW + math.Log(chance), quality: t.quality}
	n.fates = append(append(make([]uint8, 0, len(t.fates)+1), t.fates...), uint8(fate))
	n.move(m, variance)
	if m != nil {
		b.forget(&n.gaussian)
	}
	for axis, v := range [2]float64{next.Tilt, next.Nod} {
		if !math.IsNaN(v) {
			n.logW += n.measure(axis, v, b.floor([2]float64{next.TiltU, next.NodU}[axis]))
		}
	}
	return append(out, n)
}

// forget lets every effect wander a little: screws wear, packs bed in.
func (b *belief) forget(g *gaussian) {
	d := len(g.mean)
	for j := range b.size {
		if b.size[j] == 0 {
			continue
		}
		for r := range 2 {
			i := 2 + 2*j + r
			g.cov[i*d+i] += forgetting * forgetting
		}
	}
}

// settle keeps the likeliest terms and makes their weights sum to one.
func (b *belief) settle() {
	sort.SliceStable(b.terms, func(i, j int) bool { return b.terms[i].logW > b.terms[j].logW })
	top := b.terms[0].logW
	keep := 0
	for keep < len(b.terms) && keep < maxTerms && b.terms[keep].logW > top-9 {
		keep++
	}
	b.terms = b.terms[:keep]
	var sum float64
	for i := range b.terms {
		b.terms[i].weight = math.Exp(b.terms[i].logW - top)
		sum += b.terms[i].weight
	}
	for i := range b.terms {
		b.terms[i].weight /= sum
		b.terms[i].logW = math.Log(b.terms[i].weight)
	}
}

// fate holds the probabilities of how move k ended.
func (b *belief) fate(k int, which uint8) float64 {
	var p float64
	for _, t := range b.terms {
		if k < len(t.fates) && t.fates[k] == which {
			p += t.weight
		}
	}
	return p
}

// mean and spread of one number of the state over all terms.
func (b *belief) moments(i int) (mean, sd float64) {
	for _, t := range b.terms {
		mean += t.weight * t.mean[i]
	}
	var v float64
	for _, t := range b.terms {
		d := t.mean[i] - mean
		v += t.weight * (t.cov[i*len(t.mean)+i] + d*d)
	}
	return mean, math.Sqrt(v)
}

func norm(m []float64) float64 {
	var s float64
	for _, v := range m {
		s += v * v
	}
	return math.Sqrt(s)
}
