package input

import (
	"math/rand/v2"
	"testing"
	"time"

	"tramd/device"
)

const msec = device.Stamp(time.Millisecond)

// feed reads a line each 10 ms from a moment on: one character a reading, 1 or 0, x for none.
func feed(f *Filter, from device.Stamp, readings string) device.Stamp {
	for _, c := range readings {
		if c != 'x' {
			f.Level(from, c == '1')
		}
		from += 10 * msec
	}
	return from
}

func TestAChangeCountsOnceItHasHeld(t *testing.T) {
	for name, tc := range map[string]struct {
		debounce time.Duration
		readings string
		want     State
	}{
		"nothing read":                 {0, "", Unknown},
		"one reading":                  {0, "1", On},
		"one reading, to be held":      {30 * time.Millisecond, "1", Unknown},
		"held for just not so long":    {30 * time.Millisecond, "111", Unknown},
		"held for so long":             {30 * time.Millisecond, "1111", On},
		"a bounce begins again":        {30 * time.Millisecond, "1101", Unknown},
		"a bounce, then held":          {30 * time.Millisecond, "11011111", On},
		"off after on":                 {30 * time.Millisecond, "11110000", Off},
		"a short off is none":          {30 * time.Millisecond, "1111000111", On},
		"a short off is none again":    {30 * time.Millisecond, "11110001000", On},
		"a gap within the stale time":  {0, "1xxxxx", On},
		"a gap beyond the stale time":  {0, "1xxxxxxxxxxx", Unknown},
		"read again after such a gap":  {0, "1xxxxxxxxxxx0", Off},
		"to be held again after a gap": {30 * time.Millisecond, "1111xxxxxxxxxxx1", Unknown},
		"a chatter is neither":         {30 * time.Millisecond, "1010101010101010101010", Unknown},
	} {
		f := &Filter{Debounce: tc.debounce, Stale: 100 * time.Millisecond}
		now := feed(f, 5*msec, tc.readings)
		if got, _ := f.At(now); got != tc.want {
			t.Errorf("%s: %v, want %v", name, got, tc.want)
		}
	}
}

func TestWhatCannotBeReadIsUnknownAtOnce(t *testing.T) {
	f := &Filter{Stale: time.Second}
	now := feed(f, 0, "1111")
	f.Lost(now)
	if got, since := f.At(now); got != Unknown || since != now {
		t.Errorf("%v since %v", got, since)
	}
	was := f.OnFor()
	now = feed(f, now+500*msec, "1")
	if got, _ := f.At(now); got != On || f.OnFor() != was {
		t.Errorf("%v; on for %v, before the gap %v", got, f.OnFor(), was)
	}
	f.Level(now-200*msec, false) // an older one
	if got, _ := f.At(now); got != On {
		t.Errorf("an old reading made it %v", got)
	}
}

// The time on is that of the truth, but for the readings' own steps, however the line bounces; and gaps count nothing.
func TestTheTimeOnIsTheTruth(t *testing.T) {
	for seed := range uint64(200) {
		rng := rand.New(rand.NewPCG(seed, 3))
		f := &Filter{Debounce: 50 * time.Millisecond, Stale: 500 * time.Millisecond}
		now, truth, edges := device.Stamp(0), time.Duration(0), 0
		on := false
		for range 40 {
			hold := device.Stamp(200+rng.IntN(3000)) * msec
			on = !on
			edges++
			for end := now + hold; now < end; now += 10 * msec {
				level := on
				if now < end-hold+40*msec && rng.IntN(2) == 0 { // it bounces for 40 ms
					level = !on
				}
				f.Level(now, level)
			}
			if on {
				truth += time.Duration(hold)
			}
			if rng.IntN(8) == 0 { // nothing is read for a while, on or off
				now += 2000 * msec
			}
		}
		// Each edge is late by the debounce time and up to the bounce more.
		if d := f.OnFor() - truth; d.Abs() > time.Duration(edges)*70*time.Millisecond {
			t.Errorf("seed %d: on for %v, in truth %v", seed, f.OnFor(), truth)
		}
		if f.OnFor() < truth*8/10 || f.OnFor() > truth*11/10 {
			t.Errorf("seed %d: on for %v, in truth %v", seed, f.OnFor(), truth)
		}
	}
}
