package charts

import (
	"math"
	"slices"
)

// Trend is what the test of Mann and Kendall says: H. B. Mann, Econometrica 13 (1945) 245-259; M. G. Kendall, Rank
// Correlation Methods (both from memory).
type Trend struct {
	S        int     // rises less falls, over all pairs
	Variance float64 // of S with no trend, ties allowed for
	Z        float64 // S made normal, with the correction for continuity
}

// P is the probability that a series without a trend gives an S as far from nought, either way.
func (t Trend) P() float64 { return math.Erfc(math.Abs(t.Z) / math.Sqrt2) }

// MannKendall tests a series for a trend, however it is shaped. With fewer than four figures Z is 0.
func MannKendall(x []float64) Trend {
	var t Trend
	for i := range x {
		for _, later := range x[i+1:] {
			switch {
			case later > x[i]:
				t.S++
			case later < x[i]:
				t.S--
			}
		}
	}
	n := float64(len(x))
	t.Variance = n * (n - 1) * (2*n + 5)
	sorted := slices.Sorted(slices.Values(x))
	for i := 0; i < len(sorted); {
		k := i
		for k < len(sorted) && sorted[k] == sorted[i] {
			k++
		}
		g := float64(k - i)
		t.Variance -= g * (g - 1) * (2*g + 5)
		i = k
	}
	t.Variance /= 18
	if len(x) < 4 || t.Variance <= 0 {
		return t
	}
	switch {
	case t.S > 0:
		t.Z = float64(t.S-1) / math.Sqrt(t.Variance)
	case t.S < 0:
		t.Z = float64(t.S+1) / math.Sqrt(t.Variance)
	}
	return t
}

// Slope is the median of the slopes of all pairs, and Sen's interval about it.
type Slope struct{ Slope, Low, High float64 }

// TheilSen gives the slope of x over t with an interval for z standard deviations of S (1.96: 95 %): P. K. Sen, Journal
// of the American Statistical Association 63 (1968) 1379-1389. Pairs at one instant are left out; without any pair all
// is NaN.
func TheilSen(t, x []float64, z float64) Slope {
	var slopes []float64
	for i := range x {
		for k := i + 1; k < len(x); k++ {
			if dt := t[k] - t[i]; dt != 0 {
				slopes = append(slopes, (x[k]-x[i])/dt)
			}
		}
	}
	n := len(slopes)
	if n == 0 {
		return Slope{math.NaN(), math.NaN(), math.NaN()}
	}
	slices.Sort(slopes)
	out := Slope{Slope: (slopes[(n-1)/2] + slopes[n/2]) / 2}
	// As scipy.stats.theilslopes takes the ranks.
	c := z * math.Sqrt(MannKendall(x).Variance)
	upper := min(int(math.Round((float64(n)+c)/2)), n-1)
	lower := max(int(math.Round((float64(n)-c)/2))-1, 0)
	out.Low, out.High = slopes[lower], slopes[upper]
	return out
}
