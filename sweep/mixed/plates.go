package mixed

import (
	"math"
	"slices"
	"sort"
)

// A table of plates of unequal height jumps too, but by the angle and not by the time: what goes up comes down within
// the turn, and the lean of the table is that of all its plates together. So the edges of plates are what a jump in
// time is weighed against: a few edges whose heights add up to nothing round the circle, of which the plane is taken
// off.

const (
	mostEdges   = 4    // of plates
	edgePlaces  = 8    // places tried
	edgesApart  = 4    // blocks between two of them
	plateOdds   = -4.0 // log odds of a table of plates before the readings speak, as of a knock (chosen)
	sameEdgeDeg = 5.0
)

// edge is the column of one edge at an angle (see edgeAt).
func edge(bs []block, at float64) []float64 {
	out := make([]float64, len(bs))
	for i := range bs {
		out[i] = edgeAt(&bs[i], at)
	}
	return out
}

// edgeAt is a saw of one tooth a turn, its mean and first harmonic taken off. Sums of such saws with weights that add
// up to nothing are level plates.
func edgeAt(b *block, at float64) float64 {
	x := math.Remainder(b.th-at, 2*math.Pi)
	saw := x/(2*math.Pi) - math.Copysign(0.5, x)
	if s := b.span; math.Abs(x) < s/2 { // the edge lies within the block
		saw = -x / s
	}
	return saw + math.Sin(x)/math.Pi
}

// edges are the angles of the few places at which one more step is worth most.
func (sc *stepScan) edges() (angles []float64) {
	var at []int
	for j, w := range sc.worth {
		if !math.IsInf(w, 0) && w != 0 {
			at = append(at, j)
		}
	}
	sort.SliceStable(at, func(i, k int) bool { return sc.worth[at[i]] > sc.worth[at[k]] })
	var places []int
	for _, j := range at {
		if len(angles) == edgePlaces {
			break
		}
		angle := (sc.s.bs[j-1].th + sc.s.bs[j].th) / 2
		fresh := true
		for k, p := range places {
			fresh = fresh && (j-p >= edgesApart || p-j >= edgesApart) &&
				math.Abs(math.Remainder(angle-angles[k], 2*math.Pi)) > sameEdgeDeg*math.Pi/180
		}
		if fresh {
			places, angles = append(places, j), append(angles, angle)
		}
	}
	return angles
}

// rivals is the log weight of the best of what looks like a jump and is none, over the points of the grid that were
// looked at: a table of plates, or, of a sweep both ways round, a plunger that reads higher coming out than going in.
func (sc *stepScan) rivals() float64 {
	best := math.Inf(-1)
	s := sc.s
	var cols [][]float64
	for _, a := range sc.edges() {
		cols = append(cols, edge(s.bs, a))
	}
	if sc.plunger != nil {
		cols = append(cols, sc.plunger)
	}
	noises, forms, drifts := s.l.scanned()
	for i, n := range noises {
		beside := newBeside(sc.passes[i], s.bs, cols, s.d.cols)
		for _, form := range forms[:3] {
			for _, drift := range drifts {
				best = math.Max(best,
					sc.rivalsAt(beside, hyper{tau: n.tau, slow: n.slow, form: form, fall: 1, drift: drift}))
			}
		}
	}
	return best
}

// beside is what a few more columns have under V⁻¹ with each other and with those of the design, the readings last.
type beside struct {
	own  sym
	with [][]float64
}

func newBeside(ps *pass, bs []block, cols [][]float64, width int) beside {
	out := beside{own: newSym(len(cols))}
	es := make([][]float64, len(cols))
	for a, c := range cols {
		es[a] = ps.innovations(bs, c)
		u := make([]float64, width)
		ps.with(bs, c, u)
		out.with = append(out.with, u)
		for b := 0; b <= a; b++ {
			sum := 0.0
			for i, x := range es[a] {
				sum += x * es[b][i]
			}
			out.own.row(a)[b] = sum
		}
	}
	return out
}

// rivalsAt adds edges one by one, the best next one each time.
func (sc *stepScan) rivalsAt(beside beside, h hyper) float64 {
	s := sc.s
	s.held = false
	p := s.at(h)
	defer s.reuse(p.factor)
	last := s.d.cols - 1
	k := len(beside.with)
	own, with := newSym(k), make([]float64,
		k) // the edges' columns under the model, with each other and with the readings
	us := make([][]float64, k)
	ly := p.factor.row(last)[:last]
	for a, u := range beside.with {
		with[a] = u[last]
		us[a] = slices.Clone(u[:last])
		p.factor.forward(us[a])
		for j, v := range us[a] {
			with[a] -= v * ly[j]
		}
		for b := 0; b <= a; b++ {
			sum := beside.own.row(a)[b]
			for j, v := range us[a] {
				sum -= v * us[b][j]
			}
			own.row(a)[b], own.row(b)[a] = sum, sum
		}
	}
	weight := func(set []int) float64 {
		return p.weight + plateOdds + heights(own, with, set, p.s2*p.dof, p.dof, len(s.bs))
	}
	best := math.Inf(-1)
	if sc.plunger != nil { // the last column, alone
		k--
		q := own.row(k)[k]
		left := math.Max(p.s2*p.dof-sq(with[k])/(q+1/sq(knockSD)), 1e-6*p.s2*p.dof)
		best = p.weight - (math.Log1p(sq(knockSD)*q)+p.dof*math.Log(left/(p.s2*p.dof)))/2
	}
	if _, w := edgeSet(k, weight); w > best {
		best = w
	}
	return best
}

// edgeSet returns the set of edges that is worth most: the best two, and the best next one as long as it adds.
func edgeSet(k int, weight func(set []int) float64) (set []int, best float64) {
	best = math.Inf(-1)
	for a := range k {
		for b := range a {
			if w := weight([]int{b, a}); w > best {
				best, set = w, []int{b, a}
			}
		}
	}
	for len(set) > 0 && len(set) < mostEdges {
		var better []int
		for a := range k {
			if slices.Contains(set, a) {
				continue
			}
			trial := append(slices.Clone(set), a)
			if w := weight(trial); w > best {
				best, better = w, trial
			}
		}
		if better == nil {
			break
		}
		set = better
	}
	return set, best
}

// heights is what edges with heights that add up to nothing are worth in log likelihood, the choice of their places
// paid for.
func heights(own sym, with []float64, set []int, total, dof float64, places int) float64 {
	n := len(set) - 1
	a := newSym(n + 1)
	for i := range n {
		// Each height but the first is taken from the first: an orthogonal basis would change the prior by a small
		// factor only.
		for j := 0; j <= i; j++ {
			p, q, r := set[i+1], set[j+1], set[0]
			a.row(i)[j] = own.row(p)[q] - own.row(p)[r] - own.row(r)[q] + own.row(r)[r]
		}
		a.row(i)[i] += 1 / sq(knockSD)
		a.row(n)[i] = with[set[i+1]] - with[set[0]]
	}
	a.row(n)[n] = total * (1 + 1e-12)
	a.cholesky()
	w := -float64(len(set)) * math.Log(float64(places))
	for i := range n {
		w -= math.Log(knockSD * a.row(i)[i])
	}
	left := math.Max(sq(a.row(n)[n]), 1e-6*total)
	return w - dof*math.Log(left/total)/2
}
