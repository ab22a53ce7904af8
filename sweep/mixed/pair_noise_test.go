package mixed

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/mat"
)

// sharedNoise is two indicators' blocks, at nearly the same times but for a stretch that one of them did not read, with
// rows of three columns, and the covariance of their noise as the model states it, written out in full.
func sharedNoise(r *rand.Rand, nz noise) (bs []block, rows [][]float64, cov *mat.SymDense) {
	for track := range 2 {
		for i := range 24 {
			if track == 1 && i >= 7 && i < 10 {
				continue
			}
			bs = append(bs, block{track: track, t: float64(i), span: 0.1, rate: 0.1, noise: 1})
			rows = append(rows, []float64{r.NormFloat64(), r.NormFloat64(), r.NormFloat64()})
		}
	}
	cov = mat.NewSymDense(len(bs), nil)
	for i := range bs {
		for k := range i + 1 {
			v := 0.0
			if i == k {
				v = bs[i].noise
			}
			share := 1.0
			if bs[i].track != bs[k].track {
				share = nz.together
			}
			alone := func(b block) bool { return b.track == 0 && b.t >= 7 && b.t < 10 }
			if alone(bs[i]) != alone(bs[k]) {
				share = 0 // what was read alone is a run of its own
			}
			cov.SetSym(i, k, v+share*nz.slow*math.Exp(-math.Abs(bs[i].t-bs[k].t)/nz.tau[0]))
		}
	}
	return bs, rows, cov
}

// The sums of products of two indicators whose slow noise goes together, and the covariance of sums of their readings,
// are those of the covariance of all blocks written out.
func TestPairAgainstDenseCovariance(t *testing.T) {
	for _, correlation := range []float64{0.97, 0.7, -0.7, -0.97} {
		nz := noise{slow: 3, tau: []float64{5}, together: correlation}
		bs, rows, cov := sharedNoise(rand.New(rand.NewPCG(2, 8)), nz)
		d := &design{cols: 3, rows: rows, pair: newPair(bs, rows)}
		if d.pair == nil || len(d.pair.runs[pairSum]) != 21 || len(d.pair.runs[pairFirst]) != 3 ||
			len(d.pair.runs[pairSecond]) != 0 {
			t.Fatal("the blocks were not paired")
		}
		gram, logDet := d.whiten(bs, nz)
		var c mat.Cholesky
		if !c.Factorize(cov) {
			t.Fatal("no covariance")
		}
		if want := c.LogDet(); math.Abs(logDet-want) > 1e-9*math.Abs(want) {
			t.Errorf("correlation %v: log determinant %v, want %v", correlation, logDet, want)
		}
		x := mat.NewDense(len(rows), 3, nil)
		for i, row := range rows {
			x.SetRow(i, row)
		}
		var solved, want mat.Dense
		if err := c.SolveTo(&solved, x); err != nil {
			t.Fatal(err)
		}
		want.Mul(x.T(), &solved)
		for i := range 3 {
			for k := range i + 1 {
				if got := gram.row(i)[k]; math.Abs(got-want.At(i, k)) > 1e-9 {
					t.Errorf("correlation %v: product %d, %d is %v, want %v", correlation, i, k, got, want.At(i, k))
				}
			}
		}
		var parts [2][]float64
		for _, row := range rows {
			parts[0], parts[1] = append(parts[0], row[0]), append(parts[1], row[1])
		}
		f := &fitting{bs: bs, d: d}
		got := f.ofNoise(nz, parts)
		var half, full mat.Dense
		half.Mul(x.T(), cov)
		full.Mul(&half, x)
		for k, w := range []float64{full.At(0, 0), full.At(0, 1), full.At(1, 1)} {
			if math.Abs(got[k]-w) > 1e-9*math.Abs(full.At(0, 0)) {
				t.Errorf("correlation %v: covariance %d of sums is %v, want %v", correlation, k, got[k], w)
			}
		}
	}
}
