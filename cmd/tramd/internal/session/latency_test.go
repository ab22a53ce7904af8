package session

import (
	"testing"
	"time"
)

// Bytes may wait while nobody sweeps, and never while somebody does.
func TestPortsAreInAHurryWhileASweepIsInHand(t *testing.T) {
	r := newRig(t, 0)
	waits := func(want time.Duration) func(*Snapshot) bool {
		return func(*Snapshot) bool { return r.waits.Load() == int64(want) }
	}
	r.wait(t, "latency at rest", waits(idleLatency))
	run, err := r.Start(t.Context(), 1, "check")
	if err != nil {
		t.Fatal(err)
	}
	r.wait(t, "hurry in a sweep", waits(0))
	if err := r.Abandon(t.Context(), run); err != nil {
		t.Fatal(err)
	}
	r.wait(t, "latency after it", waits(idleLatency))
}
