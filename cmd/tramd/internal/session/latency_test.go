package session

import (
	"testing"
	"time"

	"tramd/cmd/tramd/internal/api"
)

// Bytes may wait longer while no sweep is in hand, and each look has them read first.
func TestBytesWaitLessWhileASweepIsInHand(t *testing.T) {
	r := newRig(t, 0)
	waits := func(want time.Duration) func(*api.Snapshot) bool {
		return func(*api.Snapshot) bool { return r.waits.Load() == int64(want) }
	}
	r.wait(t, "latency at rest", waits(idleLatency))
	run, err := r.Start(t.Context(), 1, "check")
	if err != nil {
		t.Fatal(err)
	}
	r.wait(t, "latency in a sweep", waits(sweepLatency))
	before := r.readNows.Load()
	if _, err := r.Snapshot(t.Context()); err != nil {
		t.Fatal(err)
	}
	if r.readNows.Load() == before {
		t.Error("a look did not have the ports read")
	}
	before = r.readNows.Load()
	if _, err := (Unwatched{r.Session}).Snapshot(t.Context()); err != nil {
		t.Fatal(err)
	}
	if r.readNows.Load() != before {
		t.Error("the ports were read for a scrape")
	}
	if err := r.Abandon(t.Context(), run); err != nil {
		t.Fatal(err)
	}
	r.wait(t, "latency after it", waits(idleLatency))
}
