package slack

import (
	"testing"

	"golang.org/x/sys/unix"
)

// Each thread has the slack, since the one that made it had.
func TestEveryThreadHasTheSlack(t *testing.T) {
	done := make(chan struct{})
	go func() {
		defer close(done)
		if ns, err := unix.PrctlRetInt(unix.PR_GET_TIMERSLACK, 0, 0, 0, 0); err != nil || ns != 1_000_000 {
			t.Errorf("a thread may wake %d ns late (%v), want a millisecond", ns, err)
		}
	}()
	<-done
}
