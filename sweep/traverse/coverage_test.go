package traverse

import (
	"flag"
	"math/rand/v2"
	"testing"

	"tramd/sweep"
	"tramd/sweep/line"
	"tramd/sweep/line/linetest"
)

var (
	study = flag.Int("study", 0, "traverses of each kind that the study draws; 0 for the short form")
	only  = flag.String("only", "", "the one kind that the study draws")
)

var scenes = []linetest.Scene{
	{Name: "three typed", Places: 3, Passes: 1, Seconds: 8, Length: 300, White: 0.001, Step: 0.001},
	{Name: "five typed", Places: 5, Passes: 1, Seconds: 8, Length: 400, White: 0.001, Step: 0.001, Bow: 0.003},
	{Name: "seven typed there and back", Places: 7, Passes: 2, Seconds: 6, Length: 600, White: 0.001, Step: 0.001,
		Bow: 0.004},
	{Name: "twelve typed, uneven", Places: 12, Passes: 1, Seconds: 10, Length: 600, White: 0.0015, Step: 0.001,
		Bow: 0.004, Uneven: true},
	{Name: "nine typed, a second each", Places: 9, Passes: 1, Seconds: 1, Length: 500, White: 0.001, Step: 0.001},
	{Name: "twelve typed, coarse display", Places: 12, Passes: 1, Seconds: 6, Length: 600, White: 0.002, Step: 0.01,
		Bow: 0.004},
	{Name: "hundred", Places: 100, Passes: 1, Seconds: 0.2, Length: 600, White: 0.001, Step: 0.001, Bow: 0.004},
	{Name: "two thousand there and back", Places: 1000, Passes: 2, Seconds: 0.05, Length: 600, White: 0.001,
		Step: 0.001, Bow: 0.005},
	{Name: "slow noise", Places: 1500, Passes: 2, Seconds: 0.02, Length: 600, White: 0.0007, Slow: 0.001, Tau: 2,
		Step: 0.001, Bow: 0.004},
	{Name: "slow noise, one way", Places: 2000, Passes: 1, Seconds: 0.02, Length: 600, White: 0.0007, Slow: 0.001,
		Tau: 2, Step: 0.001, Bow: 0.004},
	{Name: "outliers and a slot", Places: 1000, Passes: 2, Seconds: 0.02, Length: 600, White: 0.001, Step: 0.001,
		Bow: 0.004, Outliers: 0.03, Slot: 12},
	{Name: "outliers and a slot, few readings", Places: 600, Passes: 2, Seconds: 0.05, Length: 500, White: 0.001,
		Step: 0.001, Bow: 0.004, Outliers: 0.02, Slot: 10},
	{Name: "six typed, a quiet indicator", Places: 6, Passes: 1, Seconds: 8, Length: 500, White: 0.0004, Step: 0.001,
		Bow: 0.002},
	{Name: "ten typed, a rough surface", Places: 10, Passes: 1, Seconds: 8, Length: 500, White: 0.003, Step: 0.001,
		Bow: 0.004},
	{Name: "coarse display", Places: 1500, Passes: 2, Seconds: 0.02, Length: 600, White: 0.001, Step: 0.01, Bow: 0.006},
	{Name: "waves", Places: 1000, Passes: 2, Seconds: 0.02, Length: 600, White: 0.001, Step: 0.001, Bow: 0.004,
		Wave: 0.003},
	{Name: "nine typed there and back, warming", Places: 9, Passes: 2, Seconds: 8, Length: 500, White: 0.001,
		Step: 0.001, Bow: 0.003, Drift: 0.003},
	{Name: "thousand there and back, warming", Places: 500, Passes: 2, Seconds: 0.05, Length: 600, White: 0.001,
		Step: 0.001, Bow: 0.004, Drift: 0.002},
	{Name: "two passes of white noise", Places: 1000, Passes: 4, Seconds: 0.02, Length: 600, White: 0.0015,
		Step: 0.001},
	{Name: "edge within its error", Places: 25, Passes: 2, Seconds: 4, Length: 500, White: 0.001, Step: 0.001,
		Scale: 0.005},
}

func fitLine(l linetest.Line, s linetest.Scene) (*Result, error) {
	step := s.Step
	in := &line.Readings{Rows: len(l.T), Runs: []line.Run{{T: l.T, X: l.X, Z: l.Z}}}
	return Fit(in, Options{Setup: line.Setup{Indicators: []sweep.Indicator{{ResolutionMM: step}}, EdgeMPEMM: s.Scale}})
}

// The intervals hold the truth in 91 of 100 cases of each kind at least, and are hardly more than twice as wide as the
// errors need (the width is judged by the study alone: a dozen draws do not tell it). The bounds are slackened by what
// chance allows.
func TestIntervalsOfTraversesHoldTheTruth(t *testing.T) {
	n := 12
	if *study > 0 {
		n = *study
	}
	for k, s := range scenes {
		if *only != "" && s.Name != *only {
			continue
		}
		r := rand.New(rand.NewPCG(uint64(k), 17))
		var slope, straight linetest.Tally
		for range n {
			l := s.Draw(r)
			res, err := fitLine(l, s)
			if err != nil {
				t.Fatalf("%s: %v", s.Name, err)
			}
			slope.Add(float64(res.Slope.Slope)-l.Slope, float64(res.Slope.Expanded))
			straight.Add(res.Straightness.MinimumZone-l.Straightness, res.Straightness.U)
		}
		judge(t, s.Name, "slope", &slope)
		judge(t, s.Name, "straightness", &straight)
	}
}

// Where readings come too slowly for a short stretch to show its own spread, those far off are still left out, and the
// sound ones are not.
func TestReadingsFarOffAreLeftOutWhereFewCome(t *testing.T) {
	s := linetest.Scene{Places: 600, Passes: 2, Seconds: 0.05, Length: 500, White: 0.001, Step: 0.001, Bow: 0.004,
		Outliers: 0.02}
	r := rand.New(rand.NewPCG(1, 19))
	for i := range 6 {
		res, err := fitLine(s.Draw(r), s)
		if err != nil {
			t.Fatal(err)
		}
		if res.RMSMM == nil || *res.RMSMM > 0.0013 || res.Rejected > 60 {
			t.Errorf(
				"traverse %d: left out %d of 1200 readings, of which 24 are far off on average; the rest scatters by %v mm",
				i, res.Rejected, *res.RMSMM)
		}
	}
}

// judge reports intervals that hold the truth too seldom, and in the study those that are wider than anyone needs.
func judge(t *testing.T, scene, estimate string, c *linetest.Tally) {
	t.Helper()
	t.Logf("%-36s %-13s %v", scene, estimate, c)
	if !c.Sound() || *study > 0 && c.Wide() > 2.5 {
		t.Errorf("%s: %s %v", scene, estimate, c)
	}
}
