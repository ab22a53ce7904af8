package uncertainty

import "math"

// Type says how a component was evaluated (JCGM 100:2008, 3.3.4).
type Type string

// A is evaluated from repeated observations, B from anything else.
const (
	A Type = "A"
	B Type = "B"
)

// Component is one source of uncertainty.
type Component struct {
	Name        string
	Type        Type
	U           float64 // standard uncertainty of the input, in Unit
	Unit        string
	Sensitivity float64 // change of the value for a unit of the input
	DoF         float64 // degrees of freedom behind U; +Inf where U is taken as known
	Note        string  // where U comes from
}

// Contribution is the component's part of the value's standard uncertainty, in the value's unit; never negative.
func (c Component) Contribution() float64 { return math.Abs(c.Sensitivity * c.U) }

// Budget is the list of components of one value; they are taken as uncorrelated.
type Budget []Component

// Combined is the combined standard uncertainty.
func (b Budget) Combined() float64 {
	var u float64
	for _, c := range b {
		u = math.Hypot(u, c.Contribution())
	}
	return u
}

// DoF is the effective number of degrees of freedom by the Welch-Satterthwaite formula (JCGM 100:2008, G.2b), not yet
// truncated. It is +Inf when every contributing component is taken as known.
func (b Budget) DoF() float64 {
	u := b.Combined()
	if u == 0 {
		return math.Inf(1)
	}
	var sum float64
	for _, c := range b {
		if share := c.Contribution() / u; share > 0 && !math.IsInf(c.DoF, 1) {
			sum += share * share * share * share / math.Max(c.DoF, 1e-9)
		}
	}
	if sum == 0 {
		return math.Inf(1)
	}
	return 1 / sum
}

// Share is component i's part of the variance, between 0 and 1.
func (b Budget) Share(i int) float64 {
	u := b.Combined()
	if u == 0 {
		return 0
	}
	s := b[i].Contribution() / u
	return s * s
}

// Expanded is the half width of the interval of the given coverage and the coverage factor it was made with.
func (b Budget) Expanded(coverage float64) (half, factor float64) {
	factor = Factor(coverage, b.DoF())
	return factor * b.Combined(), factor
}

// Factor is the coverage factor from the t distribution for degrees of freedom that need not be whole but count as 1 at
// least. JCGM 100:2008, G.4.1, lets one either interpolate its Table G.2, as here, or truncate: cut down to whole
// numbers the factor would jump threefold where 1.99 becomes 2.
func Factor(coverage, dof float64) float64 {
	return TQuantile(0.5+coverage/2, dof)
}
