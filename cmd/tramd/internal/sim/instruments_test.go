package sim

import (
	"context"
	"math/rand/v2"
	"testing"
	"testing/synctest"
	"time"
)

// On a clock of the test's own: the computer's load has no say.
func TestRateDoesNotDrift(t *testing.T) {
	const hz = 700
	for name, work := range map[string]func(*rand.Rand, int) time.Duration{
		"at once": func(*rand.Rand, int) time.Duration { return 0 },
		"uneven work": func(r *rand.Rand, _ int) time.Duration {
			return time.Duration(r.IntN(1400)) * time.Microsecond
		},
		"now and then 50 ms": func(_ *rand.Rand, call int) time.Duration {
			return time.Duration(call%100/99) * 50 * time.Millisecond
		},
	} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				rng := rand.New(rand.NewPCG(1, 1))
				ctx, cancel := context.WithTimeout(t.Context(), 100*time.Second)
				defer cancel()
				calls := 0
				every(ctx, hz, func() {
					calls++
					time.Sleep(work(rng, calls))
				})
				// The first call is at the very beginning; the last ones may be late by what the work takes.
				if calls > hz*100+1 || calls < hz*100-hz/10 {
					t.Errorf("%d calls in 100 s, want %d", calls, hz*100)
				}
			})
		})
	}
}

func TestLongStopIsNotMadeUpFor(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		ctx, cancel := context.WithTimeout(t.Context(), 20*time.Second)
		defer cancel()
		calls := 0
		every(ctx, 100, func() {
			if calls++; calls == 500 {
				time.Sleep(10 * time.Second)
			}
		})
		if calls < 990 || calls > 1010 {
			t.Errorf("%d calls in 20 s of which 10 were asleep, want 1000", calls)
		}
	})
}
