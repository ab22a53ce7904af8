package drift

import (
	"testing"
	"time"
)

// A check far outside the tolerance is an alarm at once, however few came before it: what it adds to the scatter does
// not excuse it.
func TestACheckFarOutsideDoesNotExcuseItself(t *testing.T) {
	begin := time.Date(2026, 3, 2, 6, 30, 0, 0, time.UTC)
	for before := range 8 {
		tr := New()
		for i := range before + 1 {
			lean := 0.01 + 0.01*float64(i%3)
			if i == before {
				lean = 0.6
			}
			c := Check{Time: begin.AddDate(0, 0, i), Axis: [2]*Value{{lean, 0.004}, {0.02, 0.004}}, Limit: 0.167}
			if _, err := tr.Check(c); err != nil {
				t.Fatal(err)
			}
		}
		if !tr.isOutside() {
			t.Errorf("after %d checks within the tolerance, one of 0.6 mm/m is no alarm", before)
		}
	}
}
