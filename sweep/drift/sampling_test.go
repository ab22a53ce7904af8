package drift

import (
	"math"
	"testing"
)

// clearly reports whether a figure misses what is wanted of it by more than the simulation's own sampling explains: two
// standard errors. A study of few machines cannot tell more.
func clearly(missedBy, standardError float64) bool { return missedBy > 2*standardError }

// shareError is the standard error of a share of n independent trials.
func shareError(share float64, n int) float64 {
	return math.Sqrt(share * (1 - share) / float64(max(1, n)))
}

// The study judges by its sampling error: a delay of 15.2 checks by twenty machines is no miss of 15, one by ten
// thousand is.
func TestTheStudyJudgesByItsSamplingError(t *testing.T) {
	const scatterOfDelays = 9.0
	for _, x := range []struct {
		missedBy, se float64
		misses       bool
	}{
		{15.2 - 15, scatterOfDelays / math.Sqrt(20), false},
		{15.2 - 15, scatterOfDelays / math.Sqrt(10000), true},
		{0.105 - 0.08, shareError(0.08, 57), false},
		{0.105 - 0.08, shareError(0.08, 600), true},
		{-1, 0, false},
	} {
		if got := clearly(x.missedBy, x.se); got != x.misses {
			t.Errorf("missed by %v, with a standard error of %v: clearly is %v", x.missedBy, x.se, got)
		}
	}
	// As 1,000 records of 400 fair coins scatter.
	if se := shareError(0.5, 400); math.Abs(se-0.025) > 1e-12 {
		t.Errorf("standard error %v, want 0.025", se)
	}
}
