package uncertainty

// Inside is the probability that the true value lies between lower and upper (either may be infinite), given the
// measured value, its standard uncertainty and the degrees of freedom behind it (JCGM 106:2012, 7.2 and 7.3, there with
// infinite degrees of freedom).
func Inside(value, u, dof, lower, upper float64) float64 {
	if !(u > 0) {
		if lower <= value && value <= upper {
			return 1
		}
		return 0
	}
	return TCDF((upper-value)/u, dof) - TCDF((lower-value)/u, dof)
}
