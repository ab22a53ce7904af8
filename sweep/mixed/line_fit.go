package mixed

import (
	"math"

	"tramd/sweep"
	"tramd/sweep/uncertainty"
)

// LineFit is what a measurement along lines says.
type LineFit struct {
	Sums             []Estimate // in the order of the problem's
	Looks            []Look
	FromMM, ToMM     float64
	ResolutionMM     float64
	Readings         int // that were used
	Rejected         int
	Rejections       []sweep.Rejection // degrees there are mm along the line
	ResidualRMSMM    float64
	BothWays         bool
	Knocks           int
	BorrowedMM       float64 // repeatability that was borrowed or assumed; 0 where the readings showed their own
	Backwards, Still bool    // times ran backwards; no time passed
	CoarseMM         [2]float64
	f                *fitting
	model            lineModel
}

// Parts lists what the indicators bring to the uncertainty of a slope over a length, own being the slope in mm/m.
func (l *LineFit) Parts(own, lengthMM float64) uncertainty.Budget {
	var out uncertainty.Budget
	for _, c := range l.f.indicatorParts(own, 2000/lengthMM) { // as over a circle of that diameter
		switch c.Name {
		case "radius":
			continue
		case "permissible error":
			c.Note = "rectangular on the difference of two readings a length apart"
		case "calibration":
			c.Note = "of two true values a length apart, from the certificate"
		}
		out = append(out, c)
	}
	return out
}

// Height is the reading of a curve at the middle of the line.
func (l *LineFit) Height(curve int) float64 {
	for i := range l.f.bs {
		if l.f.bs[i].track == curve {
			return l.f.d.zero + l.f.coef[l.f.d.form+l.f.d.drift+l.f.bs[i].group]
		}
	}
	return math.NaN()
}

// Standing reports whether the indicator stood still at most looks, rather than moved along all the time.
func (l *LineFit) Standing() bool { return standing(l.f.bs) && len(l.f.bs) < 4*denseSegments }

// IndicatorMPE is the largest permissible error of the indicators, in mm; a calibration takes its place.
func (l *LineFit) IndicatorMPE() (mpe float64) {
	for k := range l.f.in.tracks {
		ind := &l.f.in.setup.Indicators[l.f.in.tracks[k].indicator]
		if ind.Calibration != nil {
			mpe = math.Max(mpe, math.Sqrt(3)*ind.Calibration.UMM)
		} else {
			mpe = math.Max(mpe, ind.MPEMM)
		}
	}
	return mpe
}

// ReadTwice reports whether a curve came back to where it began, so that what drifts would show.
func (l *LineFit) ReadTwice() bool {
	for k := range l.f.in.tracks {
		th := l.f.in.tracks[k].th
		far := 0.0
		for _, a := range th {
			far = math.Max(far, math.Abs(a-th[0]))
		}
		if n := len(th); n < 3 || math.Abs(th[n-1]-th[0]) > far/4 {
			return false
		}
	}
	return true
}

// ClosureMM is by how much the last reading of the first curve differs from the first one at the same place; NaN where
// it did not come back.
func (l *LineFit) ClosureMM() float64 {
	first, last := -1, -1
	for i := range l.Looks {
		if l.Looks[i].Curve == l.Looks[0].Curve {
			if first < 0 {
				first = i
			}
			last = i
		}
	}
	a, b := &l.Looks[first], &l.Looks[last]
	if last-first < 2 || math.Abs(a.X-b.X) > (l.ToMM-l.FromMM)/100 {
		return math.NaN()
	}
	return l.f.bs[last].z - l.f.bs[first].z
}
