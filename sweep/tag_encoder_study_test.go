package sweep

import (
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
)

// The study of losses that the encoder does not tell of: what is played here shares nothing with the tagger. It knows
// the arm's way by numerical integration, an encoder that counts it, and a line that brings the counts.

var encoderStudy = flag.Int("encoder.study", 0,
	"sweeps of each kind in the study of lost counts (tag_encoder_study.md); 0: a few, as a test")

const (
	fine = 1000 // steps of integration a second
)

// a hand says how hard it pulls: the wanted speed in rad/s at a time, and how fast it can get there (rad/s²). The
// speeds and accelerations are common practice, no source.
type hand func(rng *rand.Rand) func(t, angle float64) (speed, pull float64)

// wandering is a slow random wave of size one.
func wandering(rng *rand.Rand, hz float64) func(t float64) float64 {
	var f, p, a [4]float64
	for i := range f {
		f[i], p[i], a[i] = hz*(0.3+1.4*rng.Float64()), 2*math.Pi*rng.Float64(), 0.3+0.4*rng.Float64()
	}
	return func(t float64) (s float64) {
		for i := range f {
			s += a[i] * math.Sin(2*math.Pi*f[i]*t+p[i])
		}
		return s
	}
}

var hands = []struct {
	name string
	hand hand
}{
	{"a slow drive", func(rng *rand.Rand) func(t, angle float64) (float64, float64) {
		v := 0.3 + 1.2*rng.Float64()
		return func(_, angle float64) (float64, float64) { return v * (1 + 0.02*math.Sin(angle)), 5 }
	}},
	{"an even hand", func(rng *rand.Rand) func(t, angle float64) (float64, float64) {
		v, w := 0.5+1.5*rng.Float64(), wandering(rng, 0.7)
		return func(t, _ float64) (float64, float64) { return v * math.Max(0.1, 1+0.25*w(t)), 10 }
	}},
	{"hand over hand", func(rng *rand.Rand) func(t, angle float64) (float64, float64) {
		v, w := 0.6+2*rng.Float64(), wandering(rng, 1.5)
		grip := Radians(50 + 80*rng.Float64())
		rest, next := 0.0, grip
		return func(t, angle float64) (float64, float64) {
			if angle > next {
				next, rest = angle+grip*(0.7+0.6*rng.Float64()), t+0.15+0.5*rng.Float64()
			}
			if t < rest {
				return 0, 30
			}
			return v * math.Max(0.05, 1+0.3*w(t)), 30
		}
	}},
	{"a jerky hand", func(rng *rand.Rand) func(t, angle float64) (float64, float64) {
		v, w := 0.6+1.4*rng.Float64(), wandering(rng, 4)
		return func(t, _ float64) (float64, float64) { return v * math.Max(0, 1+0.9*w(t)), 60 }
	}},
	{"knocks", func(rng *rand.Rand) func(t, angle float64) (float64, float64) {
		v, w := 0.5+1.5*rng.Float64(), wandering(rng, 0.7)
		next, end, size := 1.5+3*rng.Float64(), 0.0, 0.0
		return func(t, _ float64) (float64, float64) {
			if t > next {
				next, end, size = t+0.8+3*rng.Float64(), t+0.03+0.07*rng.Float64(), 0.3+1.2*rng.Float64()
				if rng.IntN(2) == 0 {
					size = -size
				}
			}
			if t < end {
				return v + size, 60
			}
			return v * math.Max(0.1, 1+0.25*w(t)), 60
		}
	}},
	{"there and back", func(rng *rand.Rand) func(t, angle float64) (float64, float64) {
		v, w := 0.6+1.2*rng.Float64(), wandering(rng, 0.7)
		way := 1.0
		return func(t, angle float64) (float64, float64) {
			if angle > 2*math.Pi+0.2 {
				way = -1
			}
			if angle < -0.2 {
				way = 1
			}
			return way * v * math.Max(0.1, 1+0.25*w(t)), 15
		}
	}},
}

// way is where the arm is, fine steps.
func way(rng *rand.Rand, h hand, seconds float64) []float64 {
	f := h(rng)
	out := make([]float64, int(seconds*fine))
	angle, speed := 0.0, 0.0
	began := 0.3 + 0.5*rng.Float64()
	for i := range out {
		t := float64(i) / fine
		want, pull := f(t, angle)
		if t < began {
			want = 0
		}
		most := pull / fine
		speed += math.Max(-most, math.Min(most, (want-speed)/(0.03*fine)))
		angle += speed / fine
		out[i] = angle
	}
	return out
}

// heardCount is a line as the reader hands it on.
type heardCount struct {
	at, slack, true float64 // true: when the count was really taken
	count           int64
}

// over a line: the encoder's computer takes its count every period, not quite evenly; the adapter hands on once a
// millisecond; the reading computer is late now and then, and then gets several lines at once; one line in a thousand
// is lost.
func over(rng *rand.Rand, at func(t float64) float64, rate, seconds float64, cpt int) []heardCount {
	var out []heardCount
	busyUntil := 0.0
	next := 1 + 3*rng.Float64()
	from := len(out)
	share := func() { // lines of one read: the last is stamped by its arrival, the others by the time a line takes
		for i := from; i < len(out); i++ {
			behind := float64(len(out)-1-i) * 8 * 10 / 115200
			out[i].at, out[i].slack = busyUntil-behind, behind
		}
		from = len(out)
	}
	for i := range int(seconds*rate) - 2 {
		taken := (float64(i) + 1 + 0.1*(rng.Float64()-0.5)) / rate
		if rng.IntN(1000) == 0 {
			continue
		}
		arrives := math.Ceil((taken+0.0008)*1000) / 1000
		if arrives > next && busyUntil < next {
			busyUntil = next + 0.002 + 0.018*rng.ExpFloat64()/3
			next = busyUntil + 0.5 + 4*rng.Float64()
		}
		if arrives > busyUntil && from < len(out) {
			share()
		}
		count := int64(math.Floor(at(taken) / (2 * math.Pi) * float64(cpt)))
		out = append(out, heardCount{arrives, 0, taken, count})
		if arrives > busyUntil {
			from = len(out)
		}
	}
	share()
	return out
}

// played is one sweep that was spoilt or not, and what the tagger made of it.
type played struct {
	jumpAt int // the sample at which a jump was said; -1: none
	pts    []Point
	doubts []Doubt
}

func play(lines []heardCount, cpt int, shown func(k int, c int64) int64) played {
	p := played{jumpAt: -1}
	emit := func(x Point) { p.pts = append(p.pts, x) }
	e := NewEncoder(EncoderOptions{CountsPerTurn: int64(cpt)})
	for k, l := range lines {
		e.AddReading(l.at-1e-5, 0, 0, emit)
		e.Slack(l.slack)
		e.AddCount(l.at, shown(k, l.count), false, emit)
		for s, ok := e.Slip(); ok; s, ok = e.Slip() {
			p.doubts = append(p.doubts, s.Doubt())
		}
		if e.Jumps() > 0 { // the sweep ends here
			p.jumpAt = k
			break
		}
	}
	return p
}

// swept plays an arm and its line.
func swept(rng *rand.Rand, h hand, rate float64, cpt int) (lines []heardCount, at func(t float64) float64) {
	const seconds = 20
	path := way(rng, h, seconds)
	at = func(t float64) float64 { return path[min(int(t*fine), len(path)-1)] }
	return over(rng, at, rate, seconds, cpt), at
}

// loses takes so many counts away, for good, at a moment of the middle half.
func loses(rng *rand.Rand, lines []heardCount, counts int64) (when int, shown func(k int, c int64) int64) {
	when = len(lines)/4 + rng.IntN(len(lines)/2)
	return when, func(k int, c int64) int64 {
		if k >= when {
			c -= counts
		}
		return c
	}
}

// resets has a counter begin again that shows so many counts at a moment of the middle half; the arm goes on meanwhile.
func resets(rng *rand.Rand, lines []heardCount, at func(float64) float64, cpt int, counts int64) (
	when int, shown func(k int, c int64) int64) {
	when = len(lines)/4 + rng.IntN(len(lines)/2)
	before, after := lines[when-1], lines[when]
	off := counts - before.count
	zero := int64(math.Floor(at(before.true+rng.Float64()*(after.true-before.true)) / (2 * math.Pi) * float64(cpt)))
	return when, func(k int, c int64) int64 {
		if k >= when {
			return c - zero
		}
		return c + off
	}
}

// seen says whether a loss was noticed soon enough: three strides later, or when the reading computer has caught up.
func (p played) seen(when int) bool { return p.jumpAt >= when && p.jumpAt < when+60 }

// No arm that is turned by hand or by a drive, with all that a line does to its counts, looks like a loss.
func TestCleanSweepsGiveNoAlarm(t *testing.T) {
	runs := max(1, *encoderStudy)
	for _, rate := range []float64{10, 30, 100, 1000} {
		for _, cpt := range []int{400, 4096, 36000} {
			for i, h := range hands {
				rng := rand.New(rand.NewPCG(1042, uint64(rate)+uint64(cpt*10+i)))
				alarms := 0
				for range runs {
					lines, _ := swept(rng, h.hand, rate, cpt)
					if p := play(lines, cpt, func(_ int, c int64) int64 { return c }); p.jumpAt >= 0 {
						alarms++
						t.Errorf("%s, %v a second, %d counts a turn: %v", h.name, rate, cpt, p.doubts)
					}
				}
				if *encoderStudy > 0 {
					t.Logf("%s, %v a second, %d counts a turn: %d alarms in %d sweeps", h.name, rate, cpt, alarms, runs)
				}
			}
		}
	}
}

// What is lost inside the reach of an arm is seen by the arm's pace, down to the sizes that tag_encoder_study.md holds.
func TestLossesInsideTheReachOfAnArm(t *testing.T) {
	const cpt = 4096
	for _, tc := range []struct {
		rate        float64
		kinds       string // of hands
		lost, reset float64
	}{
		{10, "a slow drive", 20, 15}, {10, "an even hand", 30, 30}, {10, "hand over hand", 90, 45},
		{100, "a slow drive", 1.5, 1.5}, {100, "an even hand", 1.5, 2}, {100, "hand over hand", 3, 3},
		{100, "a jerky hand", 5, 5},
		{1000, "an even hand", 3, 1.5}, {1000, "a jerky hand", 3, 1.5},
	} {
		for _, h := range hands {
			if h.name != tc.kinds {
				continue
			}
			const runs = 8
			rng := rand.New(rand.NewPCG(43, uint64(tc.rate)))
			lost, reset := 0, 0
			for i := range runs {
				lines, at := swept(rng, h.hand, tc.rate, cpt)
				sign := int64(1 - 2*(i%2))
				when, shown := loses(rng, lines, sign*int64(tc.lost/360*cpt))
				p := play(lines, cpt, shown)
				if p.seen(when) {
					lost++
					believedIsRight(t, p, at, tc.rate)
				}
				when, shown = resets(rng, lines, at, cpt, sign*int64(tc.reset/360*cpt))
				if play(lines, cpt, shown).seen(when) {
					reset++
				}
			}
			if lost < runs-1 || reset < runs-1 {
				t.Errorf("%s, %v a second: %d of %d losses of %v degrees and %d resets at %v degrees were seen", h.name,
					tc.rate, lost, runs, tc.lost, reset, tc.reset)
			}
		}
	}
}

// believedIsRight checks that nothing which was tagged after a loss that was seen is believed.
func believedIsRight(t *testing.T, p played, at func(float64) float64, rate float64) {
	t.Helper()
	if len(p.doubts) == 0 {
		return // too far for an arm: nothing after it has an angle
	}
	off, seen := 0.0, 0
	for _, x := range Believed(p.pts, p.doubts) {
		if !math.IsNaN(x.Angle) {
			off, seen = math.Max(off, math.Abs(x.Angle-at(x.T))), seen+1
		}
	}
	// What a late stamp hides, at the fastest that these hands go (4 rad/s for 40 ms), two samples and half a degree.
	if limit := 0.16 + 4*2/rate + Radians(0.5); off > limit || seen == 0 {
		t.Errorf("%v a second: of %d believed angles one is off by %.2f degrees (limit %.2f)", rate, seen, Degrees(off),
			Degrees(limit))
	}
}

// TestStudyOfLostCounts prints the table of tag_encoder_study.md: the smallest size from which on nine of ten are seen.
func TestStudyOfLostCounts(t *testing.T) {
	runs, cpt := *encoderStudy, 4096
	if runs == 0 {
		runs = 1 // the study itself still works
	}
	sizes := []float64{0.2, 0.35, 0.5, 0.75, 1, 1.5, 2, 3, 5, 7, 10, 15, 20, 30, 45, 60, 90}
	if *encoderStudy == 0 {
		sizes = []float64{90}
	}
	table := "| turned by | samples a second | counts lost, degrees | counter reset at, degrees |\n|---|---|---|---|\n"
	for _, h := range hands {
		for _, rate := range []float64{10, 100, 1000} {
			rng := rand.New(rand.NewPCG(1044, uint64(rate)))
			lost, reset := make([]int, len(sizes)), make([]int, len(sizes))
			for range runs {
				lines, at := swept(rng, h.hand, rate, cpt)
				for s, deg := range sizes {
					counts := int64(math.Round(deg/360*float64(cpt))) * int64(1-2*rng.IntN(2))
					when, shown := loses(rng, lines, counts)
					if play(lines, cpt, shown).seen(when) {
						lost[s]++
					}
					when, shown = resets(rng, lines, at, cpt, counts)
					if play(lines, cpt, shown).seen(when) {
						reset[s]++
					}
				}
			}
			table += fmt.Sprintf("| %s | %v | %s | %s |\n", h.name, rate, nineOfTen(sizes, lost, runs),
				nineOfTen(sizes, reset, runs))
		}
	}
	if *encoderStudy > 0 {
		t.Logf("%d sweeps of each kind, %d counts a turn:\n%s", runs, cpt, table)
	}
}

func nineOfTen(sizes []float64, seen []int, runs int) string {
	for s := len(sizes) - 1; s >= 0; s-- {
		if seen[s]*10 < runs*9 {
			if s == len(sizes)-1 {
				return fmt.Sprintf("over %v", sizes[s])
			}
			return fmt.Sprint(sizes[s+1])
		}
	}
	return fmt.Sprint(sizes[0])
}
