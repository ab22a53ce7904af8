package session

import (
	"math"

	"tramd/device"
	"tramd/sweep"
)

// PairState is the lean along a bar of two opposite indicators, read without turning.
type PairState struct {
	Run    int64   `json:"run"`      // the sweep that gave the offsets
	Deg    float64 `json:"deg"`      // the way the bar's first indicator points: the lean is positive towards there
	MMPerM float64 `json:"mm_per_m"` //
	U      float64 `json:"u_mm_per_m"`
}

// pairZero is what a sweep with two opposite indicators leaves behind. It lasts until the next sweep, and not over a
// restart: nobody knows what was touched meanwhile.
type pairZero struct {
	run  int64
	a, b int
	pair sweep.Pair
	zero sweep.PairZero
}

// zeroPair takes the offsets from a finished sweep. They are taken to be known as well as its lean over the bar: what is slow
// errs in both.
func (s *Session) zeroPair(run int64, r *sweep.Result) {
	s.pair = nil
	a, b, p, ok := sweep.OppositePair(s.o.Setup)
	if !ok || r == nil || max(a, b) >= len(r.OffsetMM) {
		return
	}
	mm := r.OffsetMM[a] - r.OffsetMM[b]
	u := 0.0
	for _, x := range []*sweep.Axis{r.Tilt, r.Nod} {
		if x != nil {
			u = math.Max(u, float64(x.U))
		}
	}
	if math.IsNaN(mm) || u == 0 {
		return
	}
	u *= s.o.Setup.Indicators[a].RadiusMM + s.o.Setup.Indicators[b].RadiusMM
	s.pair = &pairZero{run, a, b, p, p.Known(mm, u)}
}

// pairState reads the pair, where both readings and the place of the arm are fresh.
func (s *Session) pairState(mono device.Stamp, deg *float64) *PairState {
	z := s.pair
	if z == nil || deg == nil {
		return nil
	}
	var mm, steps [2]float64
	for i, k := range [2]int{z.a, z.b} {
		if s.latest[k].at == 0 || mono-s.latest[k].at >= device.Stamp(staleAfter) {
			return nil
		}
		mm[i] = s.latest[k].mm.MM()
		steps[i] = s.o.Setup.Indicators[k].ResolutionMM
	}
	lean := z.zero.Read(z.pair.Difference(mm[0], mm[1]), math.Hypot(steps[0], steps[1])/math.Sqrt(12))
	way := *deg + s.o.Setup.Indicators[z.a].PhaseDeg
	return &PairState{
		Run: z.run, Deg: sweep.Degrees(sweep.Wrap(sweep.Radians(way))), MMPerM: lean.Slope.MMPerM(), U: lean.U.MMPerM(),
	}
}
