package mixed

import (
	"cmp"
	"maps"
	"math"
	"slices"

	"tramd/sweep"
)

const (
	turnCells = 72  // of the circle
	wholeTurn = 0.9 // of the cells must be seen twice
)

// turns splits the first indicator's kept readings into what repeats with the turn and what does not. Each cell of the
// circle gives one mean a visit, so a pause does not count for more; the offset of a knock and the slow drift are taken
// off first, since they belong to no turn.
func (f *fitting) turns() *sweep.Turns {
	type visit struct{ cell, turn int }
	sum, n := map[visit]float64{}, map[visit]float64{}
	first := f.d.form + f.d.drift + f.d.extra
	t0, half := timeSpan(f.bs)
	for i := range f.segs {
		g := &f.segs[i]
		if g.why != kept || g.n == 0 || g.track != 0 {
			continue
		}
		turn := g.th / (2 * math.Pi)
		whole := math.Floor(turn)
		v := visit{min(int((turn-whole)*turnCells), turnCells-1), int(whole)}
		if g.dir < 0 {
			v.turn = -v.turn - 1<<20 // the same stretch the other way round is another visit
		}
		z := g.z - f.d.zero - f.coef[first+g.group] - leanAt(f.coef, f.axes, f.in.tracks[0].scale, g.th)
		for j, p := range legendre((g.t - t0) / half) {
			z -= p * f.coef[f.d.form+j]
		}
		sum[v] += z * float64(g.n)
		n[v] += float64(g.n)
	}
	var cellSum, cellSquare, visits [turnCells]float64
	order := slices.SortedFunc(maps.Keys(sum), func(a, b visit) int {
		return cmp.Or(cmp.Compare(a.turn, b.turn), cmp.Compare(a.cell, b.cell))
	})
	for _, v := range order { // a fixed order, so that the same sweep gives the same digits
		z := sum[v] / n[v]
		cellSum[v.cell] += z
		cellSquare[v.cell] += z * z
		visits[v.cell]++
	}
	var square, free, seen, total float64
	low, high := math.Inf(1), math.Inf(-1)
	for c, k := range visits {
		if k < 2 {
			continue
		}
		mean := cellSum[c] / k
		square += math.Max(0, cellSquare[c]-k*mean*mean)
		free += k - 1
		seen++
		total += k
		low, high = math.Min(low, mean), math.Max(high, mean)
	}
	if seen < wholeTurn*turnCells {
		return nil
	}
	var amp float64
	for _, v := range f.ans.lean[:f.d.lean] {
		amp = math.Hypot(amp, v)
	}
	return &sweep.Turns{
		Count: total / seen, FundamentalMM: amp * f.in.tracks[0].scale, ResidualSynchronousMM: high - low,
		AsynchronousRMSMM: math.Sqrt(square / free),
	}
}
