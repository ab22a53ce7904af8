package session

import (
	"context"
	"time"
)

// SetDrift shows what the stored checks say today, and when the next is due and why then (nil: not yet worked out).
func (s *Session) SetDrift(d *DriftState, next *time.Time, why string) {
	// An error here means that the session has stopped: it has no readers then.
	_ = s.ask(context.Background(), func() { s.drift, s.next, s.nextWhy = d, next, why })
}
