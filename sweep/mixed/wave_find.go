package mixed

import "math"

const (
	mostWaves  = 2              // of one sweep
	waveProof  = 8.0            // log likelihood by which a wave must be better than none, beside the number of frequencies looked at
	manyBlocks = 4 * wantBlocks // so many come of many turns, over which a wave averages out
)

// findWaves looks for steady waves in what the fit so far leaves, and fits again with those it finds.
func (f *fitting) findWaves(way *direction, along curve) {
	l := f.levels()
	if l.settled || len(f.bs) < 2*denseSegments || len(f.bs) > manyBlocks {
		return
	}
	for range mostWaves {
		best := f.ans.best.weightLog + waveProof + math.Log(float64(len(f.bs)))
		found, noise2 := wave{}, f.ans.best.s2
		if !(noise2 > 0) {
			return
		}
		for _, form := range []bool{false, true} {
			left := f.left(form)
			for _, scan := range []scan{f.inTime(), f.roundTable()} {
				w, ok := f.standsOut(left, scan)
				if !ok {
					continue
				}
				if p := f.tryWave(l, w, way, along); p.weight > best {
					best, found, noise2 = p.weight, w, p.s2
				}
			}
		}
		if found.sizeMM == 0 {
			return
		}
		f.waves = append(f.waves, found)
		f.ans.best.s2 = noise2
		f.round(way, along)
	}
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

// tryWave is the heaviest of a few grid points with one more wave.
func (f *fitting) tryWave(l *levels, w wave, way *direction, along curve) point {
	d := newDesign(f.in, f.bs, f.groups, f.axes, way, along, append(append([]wave(nil), f.waves...), w))
	d.noise2 = f.ans.best.s2
	s := f.searcher(d, l)
	return s.near(f.ans.best.h, 0, f.ans.best.h.slow/2)
}
