package mixed

import (
	"math"
	"math/rand/v2"
	"testing"

	"tramd/sweep"
)

// The filter right after a fit says what the fit said, and after any number of further blocks what the same equations
// say when they are solved for all blocks at once. Where a fit averages over a plunger with play and one without, the
// filter carries the likelier of the two on, whose interval is a little wider or narrower.
func TestTheFilterIsTheFit(t *testing.T) {
	t.Parallel()
	for _, f := range append(families(), unseen()...) {
		tr := f.draw(rand.New(rand.NewPCG(3, 9)))
		c, r, err := Begin(tr.pts, tr.setup, Options{})
		if err != nil {
			t.Fatalf("%s: %v", f.name, err)
		}
		got := c.Result()
		for i, a := range []*sweep.Axis{got.Tilt, got.Nod} {
			want := []*sweep.Axis{r.Tilt, r.Nod}[i]
			off, wide := math.Abs(float64(a.Slope-want.Slope))/float64(want.Expanded), float64(a.Expanded/want.Expanded)
			if off > 0.1 || wide < 0.9 || wide > 1.2 {
				t.Errorf("%s: off by %.2f U, and U is %.2f times that of the fit", f.name, off, wide)
			}
		}
		if got.Readings+got.Rejected != len(tr.pts) {
			t.Errorf("%s: %d", f.name, got.Readings+got.Rejected)
		}
	}
}
