package sweep

import (
	"fmt"
	"math"
)

// PairFinding is what a half turn found of a pair, as it is stored with the run's result.
type PairFinding struct {
	Indicator string  `json:"indicator"`
	Less      string  `json:"less"`    // the indicator whose reading is taken off
	ZeroMM    float64 `json:"zero_mm"` // the difference of their readings, corrected, at no lean along the bar
	UMM       float64 `json:"u_mm"`    // standard uncertainty of ZeroMM
	OnceMM    float64 `json:"once_mm"` // standard uncertainty of one later difference by itself
}

// FindPair adds to the result of a half turn what it found of the pair.
func (r *Result) FindPair(pts []Point, setup Setup) error {
	a, b, p, ok := OppositePair(setup)
	if !ok {
		return fmt.Errorf("no two indicators lie opposite each other")
	}
	axis := r.Tilt
	if axis == nil {
		axis = r.Nod
	}
	first, turned, ok := differences(pts, a, b, p)
	if axis == nil || !ok {
		return fmt.Errorf("a reading of both indicators is needed at either end of the half turn")
	}
	z := p.byHalfTurn(first, turned, *axis, r.DoF)
	r.Pair = &PairFinding{Indicator: setup.Indicators[a].Name, Less: setup.Indicators[b].Name, ZeroMM: z.MM, UMM: z.UMM,
		OnceMM: z.OnceMM}
	return nil
}

// differences returns the mean differences of two indicators at the place of the first reading and half a turn from it.
func differences(pts []Point, a, b int, p Pair) (first, turned float64, ok bool) {
	var sum, n [2][2]float64 // by end, by indicator
	origin := math.NaN()
	for _, pt := range pts {
		if !pt.Finite() || pt.Indicator != a && pt.Indicator != b {
			continue
		}
		if math.IsNaN(origin) {
			origin = pt.Angle
		}
		end, who := 0, 0
		if math.Abs(math.Remainder(pt.Angle-origin, 2*math.Pi)) > math.Pi/2 {
			end = 1
		}
		if pt.Indicator == b {
			who = 1
		}
		sum[end][who] += pt.Reading
		n[end][who]++
	}
	if min(n[0][0], n[0][1], n[1][0], n[1][1]) == 0 {
		return 0, 0, false
	}
	at := func(end int) float64 { return p.Difference(sum[end][0]/n[end][0], sum[end][1]/n[end][1]) }
	return at(0), at(1), true
}

// byHalfTurn zeroes the pair by a half turn whose lean a model has judged. What of the lean's uncertainty comes from
// the readings is the zero's too. What scales the lean (radii, angles of stem and arm, a lever's factor) falls out of
// it, and so does the form of the surface, which comes back with every later difference.
func (p Pair) byHalfTurn(first, turned float64, lean Axis, dof float64) PairZero {
	noise, form := float64(lean.U)*p.base, 0.0
	if len(lean.Budget) > 0 {
		noise = 0
		for _, c := range lean.Budget {
			mm := c.Contribution() * 1e-3 * p.base
			switch c.Name {
			case "form":
				form = mm
			case "radius", "angle", "stem angle", "lever factor":
			default:
				noise = math.Hypot(noise, mm)
			}
		}
	}
	z, _ := p.HalfTurn(first, turned, math.Sqrt2*noise)
	z.OnceMM, z.DoF = math.Hypot(z.OnceMM, form), dof
	return z
}

// ZeroOf zeroes the pair from what a half turn or a sweep found; ok is false where it found no offsets.
//
// The offsets of a sweep are taken to be known as well as its lean over the bar: what is slow errs in both. One later
// difference has the scatter of two readings, two roundings, and the odd harmonics of the surface under both contacts.
func (p Pair) ZeroOf(r Result, a, b int) (z PairZero, ok bool) {
	z = PairZero{pair: p, DoF: r.DoF}
	if f := r.Pair; f != nil {
		z.MM, z.UMM, z.OnceMM = f.ZeroMM, f.UMM, f.OnceMM
		return z, true
	}
	if max(a, b) >= len(r.OffsetMM) {
		return z, false
	}
	z.MM = r.OffsetMM[a] - r.OffsetMM[b]
	for _, x := range []*Axis{r.Tilt, r.Nod} {
		if x != nil {
			z.UMM = math.Max(z.UMM, float64(x.U)*p.base)
		}
	}
	z.OnceMM = math.Hypot(p.a.ResolutionMM, p.b.ResolutionMM) / math.Sqrt(12)
	if finite(r.ResidualRMSMM) {
		z.OnceMM = math.Hypot(z.OnceMM, math.Sqrt2*r.ResidualRMSMM)
	}
	for _, h := range r.Form {
		if h.Order%2 == 1 { // twice the wave at an unknown place of it
			z.OnceMM = math.Hypot(z.OnceMM, math.Sqrt2*h.AmplitudeMM)
		}
	}
	return z, finite(z.MM) && z.UMM > 0
}
