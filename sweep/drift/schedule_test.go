package drift

import (
	"math"
	"strings"
	"testing"
)

func TestStaircase(t *testing.T) {
	// By hand: the usual gap is 2 days; within 80 %, outside, between: 2 * 1.5 * 0.5 = 1.5.
	h := &History{}
	for i, tilt := range []float64{0, 0.01, 0.09, 0.06} {
		c := check(2*float64(i), tilt, 0, 0.004)
		h.Entries = append(h.Entries, Entry{Check: &c})
	}
	if got := staircase(h.Segment()); math.Abs(got.Days-1.5) > 1e-9 {
		t.Errorf("%+v, want 1.5 days", got)
	}
	if got := staircase(h.Segment()[:1]); !math.IsNaN(got.Days) || got.Basis == "" {
		t.Errorf("one check: %+v", got)
	}
}

func TestLineLeavesTheTolerance(t *testing.T) {
	// A line without scatter leaves where it says: 0.001 a day from 0.0267 on day 10 to 0.0667 is 40 days.
	var checks []Check
	for day := 0.0; day <= 10; day++ {
		c := check(day, 0.0167+0.001*day, 0, 0.004)
		c.SpindleHours = 500 + 6*day
		checks = append(checks, c)
	}
	if got := controlChart(checks, 0.0667); math.Abs(got.Days-40) > 1e-6 {
		t.Errorf("%+v, want 40 days", got)
	}
	if got := inUse(checks, 0.0667); math.Abs(got.Hours-240) > 1e-5 {
		t.Errorf("%+v, want 240 hours", got)
	}
	for i := range checks {
		checks[i].SpindleHours = math.NaN()
	}
	if got := inUse(checks, 0.0667); !math.IsNaN(got.Hours) || !strings.Contains(got.Basis, "hour counter") {
		t.Errorf("no counter: %+v", got)
	}
	if got := controlChart(checks, 0); !math.IsNaN(got.Days) || got.Basis != "needs a tolerance" {
		t.Errorf("no tolerance: %+v", got)
	}
	same := []Check{checks[0], checks[0], checks[0]}
	if got := controlChart(same, 0.0667); !math.IsNaN(got.Days) || got.Basis == "" {
		t.Errorf("one instant: %+v", got)
	}
}
