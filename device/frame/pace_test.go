package frame

import (
	"cmp"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"
)

// sent is an instrument whose lines arrive at known moments: every period, each up to jitter late.
func sent(n int, period, jitter time.Duration, rnd *rand.Rand) []Stamp {
	out := make([]Stamp, n)
	for i := range out {
		out[i] = Stamp(time.Second) + Stamp(i)*Stamp(period)
		if jitter > 0 {
			out[i] += Stamp(rnd.Int64N(int64(jitter)))
		}
	}
	return out
}

// stallEvery is the period of a control group that gives the reader a share of a processor.
const stallEvery = Stamp(100 * time.Millisecond)

// looked reads the instrument as the poller does a port that is read along with another: every tick, and now and then
// promptly, each wake-up between 20 and 80 microseconds late; in the last part of each tenth of a second, stall, it has
// no processor. It gives the stamps that come of it, and the longest time between two looks.
func looked(t *testing.T, sent []Stamp, tick, anchor, stall time.Duration, rnd *rand.Rand) (got []Stamp,
	longest Stamp) {
	t.Helper()
	d := NewDecoder(NewTextFramer(), 921600)
	d.Opened(true, sent[0]-1)
	late := func() Stamp { return Stamp(20+rnd.Int64N(60)) * Stamp(time.Microsecond) }
	from := sent[0] - 1
	anchorAt := from
	for i := 0; i < len(sent); {
		at := from + Stamp(tick) + late()
		prompt := false
		// The first lines are each waited for, as those of a port that is not known to be fast yet.
		if i < 2*learnLines || from >= anchorAt {
			if p := sent[i] + late(); p < at || i < 2*learnLines {
				at, prompt, anchorAt = max(p, from+1), true, p+Stamp(anchor)
			}
		}
		if in := at % stallEvery; i >= 2*learnLines && in > stallEvery-Stamp(stall) {
			at += stallEvery - in
		}
		var lines []byte
		n := 0
		for ; i+n < len(sent) && sent[i+n] <= at; n++ {
			lines = append(lines, "0.1\n"...)
		}
		longest = max(longest, at-from)
		for _, s := range d.Read(lines,
			Arrival{From: from, At: at, Prompt: prompt, Gather: max(Stamp(tick), at-from)}) {
			got = append(got, s.At)
		}
		i += n
		from = at
	}
	if len(got) != len(sent) {
		t.Fatalf("%d lines of %d were stamped", len(got), len(sent))
	}
	return got, longest
}

// An instrument with a clock of its own is stamped far better than by the moments at which it was read, at any tick and
// where its pace and the tick's are the same; one without is never stamped outside the time in which its line came.
func TestStampsOfLinesReadAlong(t *testing.T) {
	const n = 20_000
	for _, tc := range []struct {
		name         string
		period, tick time.Duration
		jitter       time.Duration
		rms          time.Duration // what the stamps may differ from the truth by, at the most
		anchor       time.Duration // how often a line is waited for; 0: every 50 ms
		stall        time.Duration // how much of each tenth of a second the reader has no processor
	}{
		{"a tick of its own period", 1000 * time.Microsecond, 1000 * time.Microsecond, 0, 60 * time.Microsecond, 0, 0},
		{"a little slower than the tick", 1003 * time.Microsecond, time.Millisecond, 0, 60 * time.Microsecond, 0, 0},
		{"three lines a tick", 330 * time.Microsecond, time.Millisecond, 0, 60 * time.Microsecond, 0, 0},
		{"fast and read seldom", 410 * time.Microsecond, 5 * time.Millisecond, 0, 80 * time.Microsecond, 0, 0},
		{"a little uneven", time.Millisecond, 2 * time.Millisecond, 100 * time.Microsecond, 100 * time.Microsecond, 0,
			0},
		{"uneven by a whole period", time.Millisecond, 2 * time.Millisecond, time.Millisecond,
			600 * time.Microsecond, 0, 0},
		{"gathered in a sweep", 1003 * time.Microsecond, 20 * time.Millisecond, 0, 60 * time.Microsecond,
			500 * time.Millisecond, 0},
		{"gathered at rest", 1003 * time.Microsecond, 50 * time.Millisecond, 0, 60 * time.Microsecond,
			500 * time.Millisecond, 0},
		{"gathered, a line a look", 19 * time.Millisecond, 20 * time.Millisecond, 0, 500 * time.Microsecond,
			500 * time.Millisecond, 0},
		{"gathered, a little uneven", time.Millisecond, 20 * time.Millisecond, 100 * time.Microsecond,
			100 * time.Microsecond, 500 * time.Millisecond, 0},
		{"gathered, on a tenth of a core", 1003 * time.Microsecond, 20 * time.Millisecond, 0, 100 * time.Microsecond,
			500 * time.Millisecond, 90 * time.Millisecond},
		{"at every line, on a tenth of a core", 1003 * time.Microsecond, time.Millisecond, 0, 100 * time.Microsecond, 0,
			90 * time.Millisecond},
		{"gathered, uneven by a whole period", time.Millisecond, 20 * time.Millisecond, time.Millisecond,
			600 * time.Microsecond, 500 * time.Millisecond, 0},
	} {
		t.Run(tc.name, func(t *testing.T) {
			rnd := rand.New(rand.NewPCG(1, 2))
			truth := sent(n, tc.period, tc.jitter, rnd)
			got, longest := looked(t, truth, tc.tick, cmp.Or(tc.anchor, 50*time.Millisecond), tc.stall, rnd)
			var squares, mean float64
			for i := range got {
				e := got[i] - truth[i]
				if e > longest || e < -longest {
					t.Fatalf("line %d is stamped %v from its arrival, looks were at most %v apart", i, time.Duration(e),
						time.Duration(longest))
				}
				squares += float64(e) * float64(e)
				mean += float64(e) / n
			}
			rms := time.Duration(math.Sqrt(squares / n))
			t.Logf("stamps differ from the truth by %v, in the mean by %v", rms, time.Duration(mean))
			if rms > tc.rms {
				t.Errorf("stamps differ from the truth by %v, more than %v", rms, tc.rms)
			}
		})
	}
}

// A line that was lost, a pause and a change of pace each set the stamps off by no more than the time between two
// looks, and within seconds at the most they are as good as before.
func TestStampsAfterADisturbance(t *testing.T) {
	rnd := rand.New(rand.NewPCG(3, 4))
	truth := sent(6000, time.Millisecond, 0, rnd)
	truth = slices.Delete(truth, 1000, 1001)
	for i := 2000; i < len(truth); i++ {
		truth[i] += Stamp(300*time.Millisecond + 400*time.Microsecond)
	}
	for i := 4000; i < len(truth); i++ {
		truth[i] += Stamp(i-4000) * Stamp(100*time.Microsecond)
	}
	got, _ := looked(t, truth, time.Millisecond, 50*time.Millisecond, 0, rnd)
	for _, part := range [][2]int{{200, 1000}, {1200, 2000}, {2300, 4000}, {4700, len(truth)}} {
		worst := Stamp(0)
		for i := part[0]; i < part[1]; i++ {
			worst = max(worst, got[i]-truth[i], truth[i]-got[i])
		}
		if worst > Stamp(250*time.Microsecond) {
			t.Errorf("lines %d to %d: a stamp is %v from its arrival", part[0], part[1], time.Duration(worst))
		}
	}
}
