package sweep

import (
	"math"
	"testing"
)

// heldUp plays an encoder of 1,000 lines a second on an arm that turns evenly, whose sender stalls now and then, thrice
// running: what it then sends comes in one read and shows where the arm is at its end. The stamps are those of a reader
// that knows the line's speed (115,200 bit/s, 8 bytes a line) and not which line came when.
func heldUp(e *Encoder, degPerS, stallS float64, slack bool, emit func(Point)) {
	const rate, wire = 1000.0, 8 * 10 / 115200.0
	t := 0.0
	for i := 0; t < 3; i++ {
		if i%400 < 397 {
			t += 1 / rate
			e.Slack(0)
			e.AddCount(t, int64(math.Round(degPerS*t/360*4096)), false, emit)
			continue
		}
		n := int(stallS * rate)
		t += stallS
		at := int64(math.Round(degPerS * t / 360 * 4096))
		for k := range n {
			late := float64(n-1-k) * wire
			if slack {
				e.Slack(late)
			}
			e.AddCount(t-late, at, false, emit)
		}
	}
}

// A sender that is held up and then catches up is no counter that jumps; and not one angle comes out wrong by it.
func TestASenderThatIsHeldUpIsNoJump(t *testing.T) {
	for _, degPerS := range []float64{30, 90, 150, 300} {
		for _, stall := range []float64{0.05, 0.1, 0.15, 0.2, 0.3} {
			e := NewEncoder(EncoderOptions{CountsPerTurn: 4096})
			readings, wrong := 0, 0
			heldUp(e, degPerS, stall, true, func(p Point) {
				if math.IsNaN(p.Angle) {
					return
				}
				readings++
				if d := math.Abs(Degrees(p.Angle) - degPerS*p.T); math.Mod(d+0.5, 360) > degPerS*stall+1 {
					wrong++
				}
			})
			if e.Jumps() > 0 {
				t.Errorf("%g deg/s, held up %g s: %d jumps", degPerS, stall, e.Jumps())
			}
			if wrong > 0 {
				t.Errorf("%g deg/s, held up %g s: %d of %d angles wrong", degPerS, stall, wrong, readings)
			}
		}
	}
	// What the slack is for: without it the same lines look like a jump.
	e := NewEncoder(EncoderOptions{CountsPerTurn: 4096})
	heldUp(e, 300, 0.1, false, func(Point) {})
	if e.Jumps() == 0 {
		t.Error("the stall that this test is about no longer looks like a jump without the slack; make it harder")
	}
}

// Slack does not let a counter that was reset pass as an arm.
func TestSlackLetsNoResetPass(t *testing.T) {
	for _, slack := range []float64{0, 0.01, 0.1} {
		e := NewEncoder(EncoderOptions{CountsPerTurn: 4096})
		e.Slack(slack)
		for i := range 3000 {
			count := int64(i)
			if i >= 1000 {
				count = int64(i - 1000)
			}
			e.AddCount(float64(i)/1000, count, false, func(Point) {})
		}
		if e.Jumps() != 1 {
			t.Errorf("slack %g s: a reset at 88 degrees gives %d jumps", slack, e.Jumps())
		}
	}
}
