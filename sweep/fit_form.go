package sweep

import "math"

const (
	formMinAngles = 5  // fewer have nothing left for form once offset, tilt and nod are fitted
	formMaxPlaces = 36 // up to here the sweep is taken as stations
	formSector    = 5  // degrees that are averaged in a dense sweep
	formReadings  = 25 // readings wanted in each mean: noise then shows at a fifth of its size
	formWidest    = 6  // sectors either side, at most: wider would smooth away the form itself
)

// form is the peak to valley of the mean residual round the circle, NaN where it cannot be seen. Stations are taken as
// they are. A dense sweep is averaged over 5 degrees, and over more where there are few readings, so that the figure
// speaks of the surface and not of the noise; what noise is left still widens it a little.
func (t *tally) form(e estimate, distinct int) float64 {
	if distinct < formMinAngles {
		return math.NaN()
	}
	if distinct <= formMaxPlaces {
		return t.stationForm(e)
	}
	return t.denseForm(e)
}

func (t *tally) stationForm(e estimate) float64 {
	low, high := math.Inf(1), math.Inf(-1)
	for k := 0; k < binCount; k++ {
		sum, n := t.binResidual(k, e)
		// A station set by hand straddles neighbouring bins.
		for k+1 < binCount {
			more, m := t.binResidual(k+1, e)
			if n == 0 || m == 0 {
				break
			}
			sum, n = sum+more, n+m
			k++
		}
		if n > 0 {
			low, high = min(low, sum/n), max(high, sum/n)
		}
	}
	return high - low
}

func (t *tally) denseForm(e estimate) float64 {
	const sectors = binCount / formSector
	var sum, n [sectors]float64
	for k := range binCount {
		s, m := t.binResidual(k, e)
		sum[k/formSector] += s
		n[k/formSector] += m
	}
	low, high := math.Inf(1), math.Inf(-1)
	for i := range sectors {
		if n[i] == 0 {
			continue
		}
		s, m := sum[i], n[i]
		for w := 1; m < formReadings && w <= formWidest; w++ {
			a, b := (i+w)%sectors, (i-w+sectors)%sectors
			s, m = s+sum[a]+sum[b], m+n[a]+n[b]
		}
		low, high = min(low, s/m), max(high, s/m)
	}
	return high - low
}

// binResidual sums what the fit leaves over in one degree of the circle, over all indicators.
func (t *tally) binResidual(k int, e estimate) (sum, n float64) {
	for i := range t.bins {
		if b := t.bins[i][k]; b.n > 0 {
			sum += t.residual(b, i, e) * b.n
			n += b.n
		}
	}
	return sum, n
}
