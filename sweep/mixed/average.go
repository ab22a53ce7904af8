package mixed

import "tramd/sweep/uncertainty"

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
		a.terms = append(a.terms, uncertainty.Term{Weight: p.weight, Mean: p.lean, Cov: p.cov, DoF: [2]float64{p.dof, p.dof}})
	}
	a.lean = a.terms.Mean()
	return a
}
