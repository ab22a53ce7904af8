package session

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"tramd/cmd/tramd/internal/api"
	"tramd/device"
	"tramd/device/frame"
	"tramd/sweep"
)

// The encoder's own bytes are spoilt on their way through the framer and the tagger. Whatever is done to them, a
// reading has the angle of its moment or none, unless the run says that its angle is in doubt or has failed.
func TestNoReadingIsGivenAWrongAngleSilently(t *testing.T) {
	const cpt = 4096
	turned := func(t float64) float64 { return 2.1*t + 0.8*math.Sin(1.7*t) } // uneven, at times nearly at rest
	swung := func(t float64) float64 { return 1.2 * math.Sin(1.1*t) }        // back and forth through zero
	for _, tc := range []struct {
		name  string
		truth func(float64) float64
		bits  int
		wrong func(rng *rand.Rand, line string, i int) string
	}{
		{"nothing", turned, 0, func(_ *rand.Rand, line string, _ int) string { return line }},
		{"a byte dropped", turned, 0, func(rng *rand.Rand, line string, i int) string {
			if i%37 == 20 {
				k := rng.IntN(len(line))
				return line[:k] + line[k+1:]
			}
			return line
		}},
		{"half a line", turned, 0, func(rng *rand.Rand, line string, i int) string {
			if i%41 == 20 {
				return line[:rng.IntN(len(line))]
			}
			return line
		}},
		{"half a line, ended", turned, 0, func(rng *rand.Rand, line string, i int) string {
			if i%41 == 20 {
				return line[:rng.IntN(len(line))] + "\n"
			}
			return line
		}},
		{"doubled lines", turned, 0, func(_ *rand.Rand, line string, i int) string {
			if i%29 == 3 {
				return line + line
			}
			return line
		}},
		{"doubled without their end", turned, 0, func(_ *rand.Rand, line string, i int) string {
			if i%29 == 3 {
				return line[:len(line)-1] + line
			}
			return line
		}},
		{"a digit changed", turned, 0, func(rng *rand.Rand, line string, i int) string {
			if i%43 == 20 {
				b := []byte(line)
				b[rng.IntN(len(b)-1)] = byte('0' + rng.IntN(10))
				return string(b)
			}
			return line
		}},
		{"16 bits through their wrap, bytes dropped", swung, 16, func(rng *rand.Rand, line string, i int) string {
			if i%37 == 20 {
				k := rng.IntN(len(line))
				return line[:k] + line[k+1:]
			}
			return line
		}},
		{"lines lost", turned, 0, func(rng *rand.Rand, line string, i int) string {
			if i/30%5 == 2 {
				return ""
			}
			return line
		}},
	} {
		for _, rate := range []float64{50, 200, 1000} {
			t.Run(fmt.Sprintf("%s, %v a second", tc.name, rate), func(t *testing.T) {
				rng := rand.New(rand.NewPCG(7, uint64(rate)))
				f := frame.NewEncoderFramer(cpt).MarkedBy("index")
				e := sweep.NewEncoder(sweep.EncoderOptions{CountsPerTurn: cpt, CounterBits: tc.bits})
				var pts []sweep.Point
				emit := func(p sweep.Point) { pts = append(pts, p) }
				var doubts []sweep.Doubt
				var got []device.Sample
				turn := int64(0)
				for i := range int(15 * rate) {
					at := float64(i) / rate
					e.AddReading(at+0.4/rate, 0, 0, emit)
					c := int64(math.Floor(tc.truth(at) / (2 * math.Pi) * cpt))
					line := fmt.Sprintf("%d\n", c)
					if tc.bits == 16 {
						line = fmt.Sprintf("%d\n", c&0xffff)
					}
					if n := int64(math.Floor(float64(c) / cpt)); n != turn {
						turn, line = n, line[:len(line)-1]+" index\n"
					}
					got = f.Feed(got[:0], []byte(tc.wrong(rng, line, i)), device.Stamp(at*1e9))
					for _, s := range got {
						if s.Kind == frame.Count {
							e.AddCount(at, s.Value, s.Mark, emit)
						}
					}
					for s, ok := e.Slip(); ok; s, ok = e.Slip() {
						doubts = append(doubts, s.Doubt())
					}
				}
				e.Flush(emit)
				known, worst := 0, 0.0
				for _, p := range sweep.Believed(pts, doubts) {
					if !math.IsNaN(p.Angle) {
						known++
						worst = math.Max(worst, math.Abs(math.Remainder(p.Angle-tc.truth(p.T), 2*math.Pi)))
					}
				}
				// What may hide: half a degree, and what the arm does in four samples' time at its fastest.
				if limit := sweep.Radians(0.5) + 4*3.5/rate; worst > limit {
					t.Errorf("an angle is off by %.2f deg (limit %.2f), with %d jumps, %d spikes, %d doubts",
						sweep.Degrees(worst), sweep.Degrees(limit), e.Jumps(), e.Spikes(), len(doubts))
				}
				if known < len(pts)/2 {
					t.Errorf("only %d of %d readings have an angle; %d jumps, %d doubts", known, len(pts), e.Jumps(),
						len(doubts))
				}
			})
		}
	}
}

func TestLostCountsAreKeptWithTheRunAndLeftOutOfItsFit(t *testing.T) {
	r := newRig(t, 0)
	if _, err := r.Start(t.Context(), 3, "check"); err != nil {
		t.Fatal(err)
	}
	mark := func(deg int) {
		r.Sink(device.Batch{Device: 1,
			Samples: []device.Sample{{At: r.at, Kind: frame.Count, Mark: true, Value: int64(deg * 10)}}})
	}
	r.turn(0, 360)
	mark(360)
	r.turn(361, 500)
	for deg := 501; deg <= 720; deg++ { // too little at a time for the arm's pace to show it
		r.lost = min(47, (deg-500)/2) // counts
		r.turn(deg, deg)
	}
	mark(720 - 5) // 50 counts short by the mark's own word
	snap := r.wait(t, "the doubt", func(s *api.Snapshot) bool {
		return len(s.Sweep.Doubts) == 1 && s.Sweep.Untagged > 0
	})
	if snap.Sweep.Untagged < 300 || snap.Sweep.Doubts[0].Code != sweep.DoubtMissedCounts {
		t.Errorf("%d untagged, doubts %+v", snap.Sweep.Untagged, snap.Sweep.Doubts)
	}
	r.lost = 50
	r.turn(721, 1100)
	snap = r.wait(t, "the end", idleNow)
	got := snap.Last.Result
	if math.Abs(float64(got.Tilt.Slope)-rigTilt) > 1e-6 || math.Abs(float64(got.Nod.Slope)-rigNod) > 1e-6 {
		t.Errorf("tilt %v nod %v", got.Tilt.Slope, got.Nod.Slope)
	}
	said := false
	for _, w := range got.Warnings {
		said = said || w.Code == sweep.DoubtMissedCounts
	}
	if !said {
		t.Errorf("warnings %+v", got.Warnings)
	}
	if len(r.shelf.doubts) != 1 {
		t.Errorf("stored doubts %+v", r.shelf.doubts)
	}
}

// kept are the doubts that are on the shelf.
func (s *shelf) kept() []sweep.Doubt {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.doubts[:len(s.doubts):len(s.doubts)]
}

// Counts that are lost all at once are seen by the arm's pace, long before an index mark; without one the sweep cannot
// go on.
func TestCountsLostAtOnceEndASweepThatNoIndexSetsRight(t *testing.T) {
	for _, index := range []bool{false, true} {
		r := newRig(t, 0)
		if _, err := r.Start(t.Context(), 3, "check"); err != nil {
			t.Fatal(err)
		}
		mark := func(deg int) {
			if index {
				r.Sink(device.Batch{
					Device: 1, Samples: []device.Sample{
						{At: r.at, Kind: frame.Count, Mark: true, Value: int64(deg*10 - r.lost)}}})
			}
		}
		r.turn(0, 360)
		mark(360)
		r.turn(361, 500)
		r.lost = 47
		r.turn(501, 600)
		r.wait(t, "the doubt", func(*api.Snapshot) bool { return len(r.shelf.kept()) > 0 })
		if d := r.shelf.kept()[0]; d.Code != sweep.DoubtMissedCounts || d.ToS-d.FromS > 0.05 {
			t.Errorf("%+v", d)
		}
		if !index {
			r.wait(t, "the end", idleNow)
			if end := r.shelf.ends[0]; end.Outcome != api.Failed ||
				!strings.Contains(end.Why, "further than an arm can turn") {
				t.Errorf("%+v", end)
			}
			continue
		}
		r.turn(601, 720)
		mark(720)
		r.turn(721, 1100)
		snap := r.wait(t, "the end", idleNow)
		if got := snap.Last.Result; math.Abs(float64(got.Tilt.Slope)-rigTilt) > 1e-6 ||
			math.Abs(float64(got.Nod.Slope)-rigNod) > 1e-6 {
			t.Errorf("%+v", snap.Last)
		}
	}
}

// Without an index mark what is lost by and by shows in the readings of the next turn, once the sweep is whole.
func TestCountsLostBetweenTurnsAreFoundByTheReadings(t *testing.T) {
	r := newRig(t, 0)
	if _, err := r.Start(t.Context(), 3, "check"); err != nil {
		t.Fatal(err)
	}
	r.turn(0, 560)
	lost := float64(r.at) / 1e9
	for deg := 561; deg <= 780; deg++ {
		r.lost = min(100, (deg-560)/2) // counts, a tenth of a degree each
		r.turn(deg, deg)
	}
	r.turn(781, 1110)
	snap := r.wait(t, "the end", idleNow)
	doubts := r.shelf.kept()
	if len(doubts) != 1 || doubts[0].Code != sweep.DoubtTurnsDiffer ||
		!strings.Contains(doubts[0].Text, "between turn 2 and 3") {
		t.Fatalf("doubts %+v", doubts)
	}
	if d := doubts[0]; d.FromS > lost+0.1 || d.ToS < float64(r.at)/1e9-0.1 {
		t.Errorf("%+v, but they were lost from %v s on", d, lost)
	}
	if got := snap.Last.Result; math.Abs(float64(got.Tilt.Slope)-rigTilt) > 1e-6 ||
		math.Abs(float64(got.Nod.Slope)-rigNod) > 1e-6 ||
		got.Warnings[len(got.Warnings)-1].Code != sweep.DoubtTurnsDiffer {
		t.Errorf("%+v", got)
	}
}
