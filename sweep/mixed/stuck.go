package mixed

import (
	"math"

	"tramd/sweep/uncertainty"
)

// A plunger whose play is more than the wave under it does not move at all. Where a sweep both ways round shows no wave
// that stands out from the noise, that is weighed against a lean that is none: all leans that a play of the usual size
// would swallow, against those that the readings allow if there is no play. The two are integrals over the lean with
// the same flat prior, so the answer does not hang on how small a lean is thought to be.

// stuckPlay is the standard deviation of an axis of the lean under a plunger that does not move, relative to that of
// the play: leans below a play p of half a normal curve, each as likely as the other, have E[p^4]/(4 E[p^2]) as
// variance.
var stuckPlay = math.Sqrt(3.0 / 4)

// stuck returns the term of a plunger that did not move, its weight relative to the terms of the answer, 0 where they
// leave nothing to it.
func (f *fitting) stuck() uncertainty.Term {
	mean, play := f.ans.lean, lostMotionSD*f.in.step()
	cov := f.ans.terms.Covariance()
	some := 1 / (1 + math.Exp(playOdds)) // probability of play
	dof := math.Max(f.ans.best.dof, 1)
	var weight float64
	if f.d.lean == 2 {
		det := cov[0]*cov[2] - cov[1]*cov[1]
		chi := (mean[0]*mean[0]*cov[2] - 2*mean[0]*mean[1]*cov[1] + mean[1]*mean[1]*cov[0]) / det
		weight = some * play * play / (2 * math.Sqrt(det)) * math.Pow(1+chi/dof, -dof/2)
	} else {
		weight = some * 2 * play / (math.Pi * math.Sqrt(cov[0])) * math.Pow(1+mean[0]*mean[0]/cov[0]/dof, -dof/2)
	}
	v := sq(stuckPlay * play)
	if bad(weight) || f.d.lean == 0 {
		weight = 0
	}
	return uncertainty.Term{Weight: weight, Cov: [3]float64{v, 0, v}, DoF: [2]float64{math.Inf(1), math.Inf(1)}}
}

// stuckMatters is the share of the belief from which a plunger that did not move is counted and warned of.
const stuckMatters = 1e-3

// weighStuck adds that term to the answer.
func (f *fitting) weighStuck() {
	term := f.stuck()
	all := 1 + term.Weight
	if f.lost = term.Weight / all; f.lost < stuckMatters {
		f.lost = 0
		return
	}
	for i := range f.ans.terms {
		f.ans.terms[i].Weight /= all
	}
	term.Weight /= all
	f.ans.terms = append(f.ans.terms, term)
	f.ans.lean = f.ans.terms.Mean()
}
