package drift

import "math"

func sqrt(x float64) float64 { return math.Sqrt(x) }

// above is the probability that a standard normal variable exceeds z.
func above(z float64) float64 { return 0.5 * math.Erfc(z/math.Sqrt2) }

// normalOfT turns a Student variable into the normal one of the same tail probability, good to about 0.2 % of itself:
// D. L. Wallace, Annals of Mathematical Statistics 30 (1959) 1124-1130 (from memory; checked against gonum).
func normalOfT(t, dof float64) float64 {
	z := (8*dof + 1) / (8*dof + 3) * math.Sqrt(dof*math.Log1p(t*t/dof))
	return math.Copysign(z, t)
}

// log1p is math.Log1p for x >= 0, quicker where x is small; good to 1e-8.
func log1p(x float64) float64 {
	if x < 0.03 {
		return x * (1 - x*(0.5-x*(1.0/3-x*(0.25-x*0.2))))
	}
	return math.Log1p(x)
}
