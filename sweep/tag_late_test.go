package sweep

import (
	"fmt"
	"math"
	"testing"
)

// sender plays an instrument that is held up once. What it would have said meanwhile is lost, or comes afterwards as
// fast as the wire carries it.
type sender struct {
	rate, begin, stall float64
	held               bool
	wire               float64 // seconds that a line takes
}

// lines gives when each was measured and when it is stamped.
func (s sender) lines(seconds float64) (out [][2]float64) {
	free := 0.0
	for i := 0; float64(i) < s.rate*seconds; i++ {
		t := float64(i) / s.rate
		at := t
		if t >= s.begin && t < s.begin+s.stall {
			if !s.held {
				continue
			}
			at = s.begin + s.stall
		}
		at = math.Max(at, free)
		free = at + s.wire
		out = append(out, [2]float64{t, at})
	}
	return out
}

// playLate has an encoder and an indicator speak, each read every 20 ms. The reading is when it was taken, so that what
// is tagged can be held against the truth. It gives by how many degrees an angle is off at the most, and how many
// readings have one and have none.
func playLate(e *Encoder, angle, arm sender, turned func(t float64) float64, seconds float64) (worst float64, known,
	unknown int) {
	lines, readings := angle.lines(seconds), arm.lines(seconds)
	emit := func(p Point) {
		if math.IsNaN(p.Angle) {
			unknown++
			return
		}
		known++
		worst = math.Max(worst, math.Abs(math.Remainder(Degrees(p.Angle)-turned(p.Reading), 360)))
	}
	upTo := func(from [][2]float64, t float64) (n int) {
		for n < len(from) && from[n][1] <= t {
			n++
		}
		return n
	}
	for t := 0.0; len(lines)+len(readings) > 0; t += 0.02 {
		n := upTo(readings, t)
		for _, r := range readings[:n] {
			e.AddReading(r[1], r[0], 0, emit)
		}
		readings = readings[n:]
		n = upTo(lines, t)
		for _, l := range lines[:n] {
			e.Slack(lines[n-1][1] - l[1])
			e.AddCount(l[1], int64(math.Floor(turned(l[0])/360*4096)), false, emit)
		}
		lines = lines[n:]
	}
	e.Flush(emit)
	return worst, known, unknown
}

// What an instrument says after it was held up lies after the silence by its stamps, and an arm that went on turning
// seemed to have stood: up to thousands of readings had an angle that was wrong by tens of degrees.
func TestNoReadingIsTaggedByLinesThatWereHeldUp(t *testing.T) {
	t.Parallel()
	const seconds, begin, readings = 8.0, 2.0, 500.0
	for _, rate := range []float64{50, 200, 1000} {
		for _, degPerS := range []float64{20, 90} {
			for _, stall := range []float64{0.1, 0.3, 1, 1.5} {
				for _, wire := range []float64{1e-5, 80 / 115200.0} {
					stalled := sender{rate: rate, begin: begin, stall: stall, held: true, wire: wire}
					steady := sender{rate: readings, wire: wire}
					turned := func(t float64) float64 { return degPerS * t }
					for _, who := range []string{"encoder", "indicator"} {
						encoder, arm := stalled, steady
						if who == "indicator" {
							encoder, arm = steady, stalled
						}
						name := fmt.Sprintf("%s, %g lines/s, %g deg/s, held up %g s, %g s a line", who, rate, degPerS,
							stall, wire)
						e := NewEncoder(EncoderOptions{CountsPerTurn: 4096})
						worst, known, unknown := playLate(e, encoder, arm, turned, seconds)
						if worst > 1 || e.Jumps() > 0 {
							t.Errorf("%s: an angle is off by %.1f degrees, %d jumps", name, worst, e.Jumps())
						}
						// Until the wire has brought what waits, and a few lines until that is known.
						most := (stall/(1-rate*wire)+3*backlogLines/rate)*arm.rate + 3
						if float64(unknown) > most || unknown == 0 || known == 0 {
							t.Errorf("%s: %d readings have no angle of %d, %.0f at the most are wanted", name, unknown,
								known+unknown, most)
						}
						// The same instrument falls silent and what it would have said is lost: a short gap is filled.
						encoder.held, arm.held = false, false
						e = NewEncoder(EncoderOptions{CountsPerTurn: 4096})
						worst, _, unknown = playLate(e, encoder, arm, turned, seconds)
						most = arm.rate/encoder.rate + 3 // those that wait for the encoder at the end
						if who == "encoder" && stall > 0.2 {
							most += (stall + 2/rate) * readings
						}
						if worst > 0.2 || float64(unknown) > most {
							t.Errorf("%s, lost: an angle is off by %.1f degrees, %d have none", name, worst, unknown)
						}
						// The arm rests meanwhile: there is nothing to be wrong about, as long as the lines can be
						// kept.
						if who == "encoder" && rate*stall/(1-rate*wire) > pastFixes {
							continue
						}
						encoder.held, arm.held = who == "encoder", who == "indicator"
						e = NewEncoder(EncoderOptions{CountsPerTurn: 4096})
						if worst, _, unknown = playLate(e, encoder, arm, func(float64) float64 { return 77 },
							seconds); worst > 0.2 || float64(unknown) > arm.rate/encoder.rate+3 {
							t.Errorf("%s, at rest: an angle is off by %.1f degrees, %d have none", name, worst, unknown)
						}
					}
				}
			}
		}
	}
}

// An encoder that sends a line for every step of the arm is silent while the arm rests. Its readings keep their angles,
// however quickly the arm goes on.
func TestAnEncoderThatSpeaksBySteps(t *testing.T) {
	t.Parallel()
	e := NewEncoder(EncoderOptions{CountsPerTurn: 4096})
	turned := func(t float64) float64 {
		// strokes of two seconds, each quicker than the one before, a second's rest between
		n := math.Floor(t / 3)
		return 30*n*(n+1)/2*2 + math.Min(t-3*n, 2)*30*(n+1)
	}
	known, unknown, worst := 0, 0, 0.0
	emit := func(p Point) {
		if math.IsNaN(p.Angle) {
			unknown++
			return
		}
		known++
		worst = math.Max(worst, math.Abs(math.Remainder(Degrees(p.Angle)-turned(p.T), 360)))
	}
	last := int64(-1)
	for i := range 120_000 {
		at := float64(i) / 10_000
		if i%10 == 0 {
			e.AddReading(at, 0, 0, emit)
		}
		if c := int64(math.Floor(turned(at) / 360 * 4096)); c != last {
			e.AddCount(at, c, false, emit)
			last = c
		}
	}
	if worst > 0.3 || unknown > 30 || known < 8000 {
		t.Errorf("%d readings have an angle, off by %.2f degrees at the most, and %d have none", known, worst, unknown)
	}
}
