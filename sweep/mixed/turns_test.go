package mixed

import (
	"math"
	"testing"

	"tramd/sweep"
)

// A sweep of four turns made of known parts: 0.010 mm once a turn, 0.004 mm three times a turn, and 0.003 mm two and a
// half times a turn, which does not repeat: it changes sign from turn to turn, so its root mean square about the
// repeating part, with one degree of freedom a cell paid for the mean, is 0.003/sqrt(2) * sqrt(4/3). Held against those
// identities.
func TestTurnsSplitKnownParts(t *testing.T) {
	var pts []sweep.Point
	const n = 4 * 1440
	for i := range n {
		a := 8 * math.Pi * float64(i) / n
		z := 0.010*math.Cos(a) + 0.004*math.Cos(3*a) + 0.003*math.Cos(2.5*a)
		pts = append(pts, sweep.Point{T: float64(i) / 100, Angle: a, Reading: z})
	}
	setup := oneArm(100)
	setup.Indicators[0].ResolutionMM = 0
	r, err := Fit(pts, setup)
	if err != nil {
		t.Fatal(err)
	}
	if r.Turns == nil {
		t.Fatal("four turns, and nothing said about them")
	}
	for _, c := range []struct {
		name      string
		got, want float64
	}{
		{"turns", r.Turns.Count, 4},
		{"fundamental", r.Turns.FundamentalMM, 0.010},
		{"residual synchronous", r.Turns.ResidualSynchronousMM, 0.008},
		{"asynchronous", r.Turns.AsynchronousRMSMM, 0.003 / math.Sqrt2 * math.Sqrt(4.0/3)},
	} {
		if math.Abs(c.got-c.want) > 0.03*c.want {
			t.Errorf("%s: %v, want %v", c.name, c.got, c.want)
		}
	}
	if r, err = Fit(pts[:n/4], setup); err != nil || r.Turns != nil {
		t.Errorf("one turn: %v, %+v", err, r.Turns)
	}
}
