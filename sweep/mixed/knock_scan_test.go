package mixed

import (
	"math"
	"math/rand/v2"
	"testing"
)

// What the pass back leaves of the columns is what the covariance of the noise, written out and inverted, makes of
// them; and what a step is worth is what the model's equations say with the step as one more column.
func TestStepScanAgainstOneMoreColumn(t *testing.T) {
	tr := scene{n: 700, turns: 1, seconds: 40, white: 0.001, slow: 0.001, tau: 2, form: 0.004, fall: 2, knock: 0.02,
		indicators: 2}.draw(rand.New(rand.NewPCG(4, 6)))
	in, err := check(tr.pts, tr.setup)
	if err != nil {
		t.Fatal(err)
	}
	in.findWays()
	segs := in.segments()
	for i := range segs {
		segs[i].mean(&in.tracks[segs[i].track])
	}
	bs := blocks(in, segs)
	along := func(*block) (z, rise float64) { return 0, 0 }
	d := newDesign(in, bs, len(in.tracks), [2]bool{true, true}, nil, along, nil)
	d.noise2 = 1e-6
	l := newLevels(bs)
	h := hyper{tau: int8(len(l.tau) / 2), slow: 5, form: 3, fall: 1, drift: 3}
	s := &searcher{d: d, bs: bs, l: l, known: repeatability{0.0003, 1}, gram: map[noiseLevel]white{}}
	p := s.at(h)
	pass := newPass(d, bs, l.slow[h.slow], l.tau[h.tau])
	for _, j := range []int{40, 100, (len(bs) - 30) &^ 1} {
		sc := stepScan{s: s, with: math.Inf(-1), place: -1}
		one := *s
		sc.s = &one
		one.bs = bs
		// Only place j may jump: the others are made ends of a group of their own for the asking.
		only := append([]block(nil), bs...)
		for k := range only {
			if (k < j-3 || k >= j+3) && k != 0 {
				only[k].group = 1000 + k
			}
		}
		one.bs = only
		sc.places(pass, h)
		// The same with a column, its prior written as that of a drift with the weight of knockSD.
		e := newDesign(in, bs, len(in.tracks), [2]bool{true, true}, nil, along, nil)
		e.noise2 = d.noise2
		wide := &design{form: e.form, drift: e.drift, extra: e.extra, groups: e.groups, lean: e.lean, cols: e.cols + 1,
			zero: e.zero, noise2: e.noise2, circles: e.circles, step: e.step}
		for i, row := range e.rows {
			step := 0.0
			if i >= j && bs[i].track == bs[j].track {
				step = 1
			}
			wide.rows = append(wide.rows, append([]float64{step}, row...))
		}
		w, logDet := wide.whiten(bs, l.noise(h))
		for i, v := range d.precision(l, h) {
			w.row(i + 1)[i+1] += v
			if i < d.form+d.drift {
				logDet -= math.Log(v)
			}
		}
		w.row(0)[0] += 1 / sq(knockSD)
		logDet += math.Log(sq(knockSD))
		last := wide.cols - 1
		w.row(last)[last] *= 1 + 1e-14
		w.cholesky()
		for i := range last {
			logDet += 2 * math.Log(w.row(i)[i])
		}
		scale := sq(w.row(last)[last]) + s.known.dof*sq(s.known.s)
		s2 := scale / p.dof
		want := -(logDet+p.dof*math.Log(p.dof*s2)+scale/s2-p.dof)/2 + l.prior(h)
		got := sc.with - knockOdds + math.Log(float64(len(bs)))
		if math.Abs(got-want) > 1e-6*math.Abs(want) {
			t.Errorf("a step before block %d: log likelihood %v by the scan, %v with a column", j, got, want)
		}
	}
}
