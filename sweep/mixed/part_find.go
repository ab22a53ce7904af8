package mixed

import (
	"cmp"
	"math"
	"slices"
)

const (
	mostParts  = 4    // of one sweep
	waveOdds   = -8.0 // log odds of a wave before the readings speak, beside the number of frequencies looked at
	dentOdds   = -4.0 // log odds of a dent, beside the number of places and widths
	mostRivals = 3    // parts weighed against each other at a time
	backOdds   = -6.0 // log odds of a jump that another undoes, beside their places: rarer than plates
	partHope   = -3.0 // log odds afterwards from which a part is weighed though it is likelier not there

	scanSlack = 5.0 // log likelihood by which a scan at one point of the grid may be off

	manyBlocks = 4 * wantBlocks // so many come of many turns, over which a wave averages out
)

// findParts looks for parts in what the fit so far leaves, the likeliest one first, and fits again with each. The lean
// is averaged over whether each is there.
func (f *fitting) findParts(way *direction, along curve) {
	if f.levels().settled || len(f.bs) < 2*denseSegments || len(f.bs) > manyBlocks {
		return
	}
	var others []model
	odds := 0.0 // of the parts so far
	for range mostParts {
		base := *f
		best, top := base, base.ans.best.weightLog
		var tried []model
		at := -1 // of the best among those tried
		for i, c := range base.likeliestParts(way, along) {
			with := base
			with.parts = append(slices.Clone(base.parts), c.part)
			with.ans.best.s2 = c.noise2
			with.round(way, along)
			if with.tooSmall(len(with.parts) - 1) {
				tried = append(tried, model{})
				continue
			}
			tried = append(tried, model{with.points, odds + c.odds})
			if w := with.ans.best.weightLog + c.odds; w > top {
				best, top, at = with, w, i
			}
		}
		if at < 0 {
			others = append(others, tried...)
			break
		}
		odds = tried[at].odds
		others = append(others, model{base.points, odds - best.parts[len(best.parts)-1].odds})
		others = append(append(others, tried[:at]...), tried[at+1:]...)
		*f = best
	}
	f.average(model{f.points, odds}, others)
}

// tooSmall reports whether a part is a jump smaller than knocks are.
func (f *fitting) tooSmall(number int) bool {
	small := func(z float64) bool { return math.Abs(z) < leastKnock*f.in.step() }
	return f.parts[number].kind == jumps && slices.ContainsFunc(f.jumpSizes(number), small)
}

// candidate is a part and what the readings say of it.
type candidate struct {
	part
	weight float64 // log, at the best of a few points of the grid
	noise2 float64 // the white variance there
}

// likeliestParts returns the parts for which the readings speak most, the best one first: no more than a few, none that
// does not matter beside the best.
func (f *fitting) likeliestParts(way *direction, along curve) (found []candidate) {
	if !(f.ans.best.s2 > 0) {
		return nil
	}
	l, least := f.levels(), f.ans.best.weightLog+partHope
	try := func(p part) {
		if q := f.tryPart(l, p, way, along); q.weight+p.odds > least {
			found = append(found, candidate{p, q.weight + p.odds, q.s2})
		}
	}
	for _, form := range []bool{false, true} {
		left := f.left(form)
		for _, scan := range []scan{f.inTime(), f.roundTable()} {
			if w, ok := f.standsOut(left, scan); ok {
				w.odds = waveOdds - math.Log(float64(len(f.bs)))
				try(w)
			}
		}
	}
	// Until the effects of direction are found, they look like flaws; steps of a coarse display always do.
	if way != nil || f.steps.variance > 0 {
		return likeliest(found)
	}
	for _, p := range f.smallJumps() {
		try(p)
	}
	flaws, finer := f.flaws(l)
	least = math.Max(least, f.ans.best.weightLog+finer)
	for _, p := range flaws {
		try(p)
	}
	return likeliest(found)
}

// likeliest sorts candidates, the best one first, and keeps the few that matter.
func likeliest(found []candidate) []candidate {
	slices.SortStableFunc(found, func(a, b candidate) int { return cmp.Compare(b.weight, a.weight) })
	for i := range found {
		if i == mostRivals || found[i].weight < found[0].weight-enough {
			return found[:i]
		}
	}
	return found
}

// left is what the last fit leaves of the readings: with the form taken off too, or fitted by offsets, lean and a
// straight drift alone, since harmonics of the surface take much from a wave that is slow against the turn.
func (f *fitting) left(form bool) []float64 {
	d := f.d
	last := d.cols - 1
	out := make([]float64, len(f.bs))
	if form {
		for i, x := range d.rows {
			out[i] = x[last]
			for j, c := range f.coef {
				out[i] -= c * x[j]
			}
		}
		return out
	}
	var use []int
	for j := d.form; j < last; j++ {
		if j < d.form+2 || j >= d.form+drifts {
			use = append(use, j)
		}
	}
	a := newSym(len(use) + 1)
	row := make([]float64, len(use)+1)
	for _, x := range d.rows {
		for k, j := range use {
			row[k] = x[j]
		}
		row[len(use)] = x[last]
		a.rank1(row, 1)
	}
	for k := range use {
		a.row(k)[k] *= 1 + 1e-9
		a.row(k)[k] += 1e-12
	}
	a.row(len(use))[len(use)] += 1e-12
	a.cholesky()
	b := append([]float64(nil), a.row(len(use))[:len(use)]...)
	a.backward(b)
	for i, x := range d.rows {
		out[i] = x[last]
		for k, j := range use {
			out[i] -= b[k] * x[j]
		}
	}
	return out
}

// tryPart is the heaviest of a few grid points with one more part.
func (f *fitting) tryPart(l *levels, p part, way *direction, along curve) point {
	d := newDesign(f.in, f.bs, f.groups, f.axes, way, along, append(append([]part(nil), f.parts...), p))
	d.noise2 = f.ans.best.s2
	s := f.searcher(d, l)
	return s.near(f.ans.best.h, 0, f.ans.best.h.slow/2)
}
