package line

import "tramd/sweep/mixed"

// Rejection says which readings were left out and why; the codes are those of a sweep.
type Rejection struct {
	Code     string  `json:"code"`
	FromS    float64 `json:"from_s"`
	ToS      float64 `json:"to_s"`
	FromMM   float64 `json:"from_mm"`
	ToMM     float64 `json:"to_mm"`
	Readings int     `json:"readings"`
}

// Rejections lists what a fit left out.
func Rejections(fit *mixed.LineFit) []Rejection {
	var out []Rejection
	for _, r := range fit.Rejections {
		out = append(out, Rejection{r.Code, r.FromS, r.ToS, r.FromDeg, r.ToDeg, r.Readings})
	}
	return out
}
