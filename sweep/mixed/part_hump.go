package mixed

import (
	"math"
	"slices"

	"tramd/sweep"
)

// dentWidths are the half widths of dents that are tried; between them the columns of the shape reach. Wider ones are
// form: half a wave of its finest order is 16 degrees.
var dentWidths = []float64{4 * math.Pi / 180, 7 * math.Pi / 180, 12 * math.Pi / 180}

// bumpShares are the half lengths of bumps in time that are tried, as shares of the sweep; longer ones are drift.
var bumpShares = []float64{1.0 / 80, 1.0 / 40, 1.0 / 20}

// dentStep is how far apart dents are tried, in half widths.
const dentStep = 0.5

// flawScan weighs one more column at a point of the grid, at the cost of the blocks where it is not nothing.
type flawScan struct {
	bs     []block
	cols   int
	pass   *pass
	at     point
	rows   []float64 // by block: V⁻¹ times the columns, what the factor of the normal equations explains of them taken off
	column []float64
	with   []float64
}

// newFlawScan runs the filter once over the blocks and once back (see pass).
func newFlawScan(s *searcher, h hyper) *flawScan {
	n, m := len(s.bs), s.d.cols
	ps := newPass(s.d, s.bs, s.l.slow[h.slow], s.l.tau[h.tau])
	s.gram[h.noise()] = white{ps.gram, ps.logDet}
	s.held = false
	sc := &flawScan{bs: s.bs, cols: m, pass: ps, at: s.at(h), rows: ps.after}
	sc.column, sc.with = make([]float64, n), make([]float64, m)
	y := sc.at.factor.row(m - 1)[:m-1]
	for i := range n {
		row := sc.rows[i*m : (i+1)*m]
		if i+1 < n && s.bs[i+1].track == s.bs[i].track {
			for j, v := range sc.rows[(i+1)*m : (i+2)*m] {
				row[j] -= v
			}
		}
		sc.at.factor.forward(row[:m-1])
		for j, v := range row[:m-1] {
			row[m-1] -= v * y[j]
		}
	}
	return sc
}

// worth is what the column is worth in log likelihood, its size having the prior of a jump. It leaves in with what the
// column has with the others and, last, with the readings.
func (sc *flawScan) worth() float64 {
	clear(sc.with)
	from, to := 0, len(sc.column) // where it is not nothing
	for from < to && sc.column[from] == 0 {
		from++
	}
	for from < to && sc.column[to-1] == 0 {
		to--
	}
	for i := from; i < to; i++ {
		c := sc.column[i]
		if c == 0 {
			continue
		}
		row := sc.rows[i*sc.cols:][:len(sc.with)]
		for j, v := range row {
			sc.with[j] += c * v
		}
	}
	return sc.explained(sc.pass.square(sc.bs, sc.column, from, to))
}

// explained is worth by what the column has with itself under V⁻¹.
func (sc *flawScan) explained(own float64) float64 {
	last := sc.cols - 1
	for _, v := range sc.with[:last] {
		own -= v * v
	}
	if !(own > 0) {
		return math.Inf(-1)
	}
	total := sc.at.s2 * sc.at.dof
	left := math.Max(total-sq(sc.with[last])/(own+1/sq(knockSD)), 1e-6*total)
	return -(math.Log1p(sq(knockSD)*own) + sc.at.dof*math.Log(left/total)) / 2
}

// flaws proposes what else there may be: at each of two points of the grid the dent, the bump and the jump that are
// worth most by their height alone, and, where there is one, the plates that are; a jump only where there was one
// before and beside plates, since a first one was looked for among the knocks. The other point has little slow noise
// and form, since what is not in the model yet was taken for these.
//
// It also returns what a finer form is worth: a flaw must be worth more, or a lobe of the form is taken for a dent.
func (f *fitting) flaws(l *levels) (out []part, finer float64) {
	s := f.searcher(f.d, l)
	h := f.ans.best.h
	if l.flicker(h) {
		h.tau = int8(len(l.tau) / 2)
	}
	h.pair = 0
	points := []hyper{h}
	if h.slow > 0 || h.form > 2 {
		points = append(points, hyper{form: min(h.form, 2), fall: 1, drift: h.drift})
	}
	for _, h := range points {
		sc := newFlawScan(&s, h)
		behind := sc.at.weight - f.ans.best.weightLog
		var seen []part
		proposals := []func(sc *flawScan) (part, float64){f.likeliestDent, f.likeliestBump}
		if f.groups > len(f.in.tracks) {
			proposals = append(proposals, f.likeliestJump)
		}
		for _, propose := range proposals {
			if p, worth := propose(sc); worth+p.odds+behind > partHope-scanSlack {
				seen = append(seen, p)
			}
		}
		if len(seen) == 0 {
			continue
		}
		if p, worth := f.likeliestPlates(sc); worth+p.odds+behind > partHope-scanSlack {
			if f.wholeCircle() {
				seen = append(seen, p)
			} else { // of plates one of which is not seen the plane is not known, but other flaws must be likelier
				finer = math.Max(finer, behind+worth+p.odds)
			}
		} else if last := len(seen) - 1; seen[last].kind == jumps {
			seen = seen[:last]
		}
		out = append(out, seen...)
		finer = math.Max(finer, behind+f.finerForm(l, sc))
	}
	return out, finer
}

// wholeCircle reports whether hardly anything was left out as off the surface.
func (f *fitting) wholeCircle() bool {
	out := 0.0
	for i := range f.segs {
		if why := f.segs[i].why; why == hollow || why == raised {
			out += f.segs[i].span
		}
	}
	return out < sweep.Radians(sameEdgeDeg)
}

// finerOrders are the harmonics above those of the form that a flaw is weighed against.
const finerOrders = 10

// finerForm is what harmonics above those of the form are worth in log likelihood at a point of the grid, falling off
// as it does or otherwise.
func (f *fitting) finerForm(l *levels, sc *flawScan) float64 {
	n := 2 * finerOrders
	own, shown := sc.together(n, func(a int) {
		order := float64(formOrders + 2 + a/2)
		for i := range f.bs {
			b := &f.bs[i]
			s, c := math.Sincos(order * b.th)
			if a%2 == 0 {
				s = c
			}
			sc.column[i] = s * blur(order*b.span/2)
		}
	})
	best, total, dof := 0.0, sc.at.s2*sc.at.dof, sc.at.dof
	for _, size := range l.form {
		for _, fall := range l.fall {
			c := newSym(n + 1)
			det := 0.0
			for a := range n {
				copy(c.row(a)[:a+1], own.row(a)[:a+1])
				v := size * size * formVariance(formOrders+2+a/2, fall)
				c.row(a)[a] += 1 / v
				det += math.Log(v)
				c.row(n)[a] = shown[a]
			}
			c.row(n)[n] = total * (1 + 1e-12)
			c.cholesky()
			for a := range n {
				det += 2 * math.Log(c.row(a)[a])
			}
			left := math.Max(sq(c.row(n)[n]), 1e-6*total)
			best = math.Max(best, -(det+dof*math.Log(left/total))/2)
		}
	}
	return best
}

// together returns what a few columns, each written by write, have with each other and with the readings.
func (sc *flawScan) together(n int, write func(a int)) (own sym, shown []float64) {
	own, shown = newSym(n), make([]float64, n)
	us, es := make([][]float64, n), make([][]float64, n)
	for a := range n {
		write(a)
		es[a] = sc.pass.innovations(sc.bs, sc.column)
		sc.worth()
		us[a], shown[a] = slices.Clone(sc.with[:sc.cols-1]), sc.with[sc.cols-1]
		for b := 0; b <= a; b++ {
			sum := 0.0
			for i, x := range es[a] {
				sum += x * es[b][i]
			}
			for j, v := range us[a] {
				sum -= v * us[b][j]
			}
			own.row(a)[b], own.row(b)[a] = sum, sum
		}
	}
	return own, shown
}

// likeliestDent tries all places and widths.
func (f *fitting) likeliestDent(sc *flawScan) (part, float64) {
	return f.likeliestHump(sc, part{kind: dent}, dentWidths, 2*math.Pi, func(b *block) float64 { return b.th })
}

// likeliestBump tries all times and lengths.
func (f *fitting) likeliestBump(sc *flawScan) (part, float64) {
	t0, half := timeSpan(f.bs)
	var widths []float64
	for _, share := range bumpShares {
		widths = append(widths, 2*half*share)
	}
	p, worth := f.likeliestHump(sc, part{kind: bump}, widths, 2*half, func(b *block) float64 { return b.t - t0 + half })
	p.mid += t0 - half
	return p, worth
}

// likeliestHump tries humps all along what blocks lie on, and returns what the best one is worth.
func (f *fitting) likeliestHump(
	sc *flawScan, p part, widths []float64, length float64, lies func(b *block) float64,
) (part, float64) {
	places := 0.0
	for _, half := range widths {
		places += length / (dentStep * half)
	}
	p.odds, p.sizeMM = dentOdds-math.Log(places), knockSD*math.Sqrt(sc.at.s2)
	at := make([]float64, len(f.bs))
	for i := range f.bs {
		at[i] = lies(&f.bs[i])
		if p.kind == dent {
			at[i] = math.Mod(math.Mod(at[i], length)+length, length)
		}
	}
	found, best := p, math.Inf(-1)
	for _, p.half = range widths {
		n := int(length / (dentStep * p.half))
		for k := range n {
			p.mid = length * float64(k) / float64(n)
			under := 0
			for i, x := range at {
				sc.column[i] = 0
				u := math.Abs(x - p.mid)
				if p.kind == dent {
					u = math.Min(u, length-u)
				}
				if u < p.half {
					sc.column[i] = (1 + math.Cos(math.Pi*u/p.half)) / 2
					under++
				}
			}
			if under < 3 {
				continue
			}
			if w := sc.worth(); w > best {
				best, found = w, p
			}
		}
	}
	return found, best
}

// likeliestJump tries a jump of one track at all places.
func (f *fitting) likeliestJump(sc *flawScan) (found part, best float64) {
	s := searcher{d: f.d, bs: f.bs}
	best = math.Inf(-1)
	clear(sc.with)
	for j := len(f.bs) - 1; j >= 0; j-- {
		if j+1 < len(f.bs) && f.bs[j+1].track != f.bs[j].track {
			clear(sc.with)
		}
		for k, v := range sc.rows[j*sc.cols : (j+1)*sc.cols] {
			sc.with[k] += v
		}
		if !s.mayJump(j) {
			continue
		}
		if w := sc.explained(sc.pass.own[j]); w > best {
			best = w
			found = f.jumpsOf(f.bs[j].track, []float64{(f.bs[j-1].t + f.bs[j].t) / 2})
		}
	}
	return found, best
}

// square is what a column has with itself under V⁻¹, given the blocks between which it is not nothing.
func (ps *pass) square(bs []block, column []float64, from, to int) (sum float64) {
	var state float64
	for i := from; i < to; i++ {
		if i == 0 || bs[i].track != bs[i-1].track {
			state = 0
		}
		state *= ps.fade[i]
		e := column[i] - state
		sum += e * e / ps.v[i]
		state += ps.gain[i] * e
	}
	if to < len(bs) && to > 0 && bs[to].track == bs[to-1].track {
		sum += ps.rest[to] * sq(state*ps.fade[to])
	}
	return sum
}
