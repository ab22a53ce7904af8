package mixed

import (
	"math"

	"tramd/sweep/uncertainty"
)

// answer is the posterior of the lean, in mm at the mean radius: one term for each point of the grid that matters.
type answer struct {
	terms uncertainty.Mixture
	lean  [2]float64 // its mean
	best  point
}

// summarise averages over the grid. All that is said of the lean comes from the terms alone.
func summarise(ps []point) answer {
	var a answer
	for _, p := range normalise(ps) {
		if p.weight > a.best.weight {
			a.best = p
		}
		a.terms = append(a.terms, uncertainty.Term{Weight: p.weight, Mean: p.lean, Cov: p.cov,
			DoF: [2]float64{p.dof, p.dof}})
	}
	a.lean = a.terms.Mean()
	return a
}

// model is what a search over the grid found with some parts, and the log odds of these before the readings speak.
type model struct {
	points []point
	odds   float64
}

// other is a model beside the one that the fit goes on with, by what it makes of the lean: its weight against that of
// the main one, by how much its lean is another, and the covariances of both, each as summarised.
type other struct {
	weight    float64
	off       [2]float64
	cov, main [3]float64
}

// average makes the answer that of several models, the first of which the fit goes on with.
func (f *fitting) average(main model, others []model) {
	f.others = nil
	top := math.Inf(-1)
	all := append([]model{main}, others...)
	var pool []point
	for _, m := range all {
		for _, p := range m.points {
			p.weight += m.odds
			top = math.Max(top, p.weight)
			pool = append(pool, p)
		}
	}
	mass := func(m model) (sum float64) {
		for _, p := range m.points {
			sum += math.Exp(p.weight + m.odds - top)
		}
		return sum
	}
	own := summarise(append([]point(nil), main.points...))
	for _, m := range others {
		if w := mass(m) / mass(main); w > otherMatters {
			a := summarise(append([]point(nil), m.points...))
			f.others = append(f.others, other{
				w, [2]float64{a.lean[0] - own.lean[0], a.lean[1] - own.lean[1]}, a.terms.Covariance(),
				own.terms.Covariance(),
			})
		}
	}
	best := f.ans.best
	f.ans = summarise(pool)
	f.ans.best = best
}

// otherMatters is the weight of another model, against the main one, from which a fit that is carried on knows it.
const otherMatters = 1e-3

// carryOthers adds the other models to an answer of the main one, as far from it as they were in the fit: their
// covariances are taken to have gone with that of the main one.
func (f *fitting) carryOthers() {
	all := 1.0
	for _, o := range f.others {
		all += o.weight
	}
	now, mean, best := f.ans.terms.Covariance(), f.ans.lean, f.ans.best
	for i := range f.ans.terms {
		f.ans.terms[i].Weight /= all
	}
	for _, o := range f.others {
		t := uncertainty.Term{Weight: o.weight / all, DoF: [2]float64{best.dof, best.dof}}
		for k := range t.Mean {
			t.Mean[k] = mean[k] + o.off[k]
		}
		ratio := 1.0
		if size := o.main[0] + o.main[2]; size > 0 {
			ratio = (now[0] + now[2]) / size
		}
		for k := range t.Cov {
			t.Cov[k] = ratio * o.cov[k]
		}
		f.ans.terms = append(f.ans.terms, t)
	}
	f.ans.lean = f.ans.terms.Mean()
}
