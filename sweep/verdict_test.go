package sweep

import (
	"testing"

	"tramd/sweep/units"
)

// A value at a limit by exactly its expanded uncertainty is still inside; one past the limit by exactly as much is not
// yet outside (ISO 14253-1:2013, 5.2 and 5.3).
func TestJudge(t *testing.T) {
	one := units.Tolerance{Limit: 1}
	for _, c := range []struct {
		slope, expanded units.Slope
		tolerance       units.Tolerance
		want            Verdict
	}{
		{0.5, 0.5, one, Within}, {-0.5, 0.5, one, Within}, {0.6, 0.5, one, Undecided}, {1.5, 0.5, one, Undecided},
		{-1.6, 0.5, one, Outside}, {-1.6, 0.5, units.Tolerance{}, None},
	} {
		if got := Judge(c.slope, c.expanded, c.tolerance); got != c.want {
			t.Errorf("Judge(%v, %v, %v) = %v, want %v", c.slope, c.expanded, c.tolerance, got, c.want)
		}
	}
}
