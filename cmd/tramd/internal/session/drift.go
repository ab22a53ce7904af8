package session

import (
	"context"
	"time"
)

// SetDrift shows what the stored checks say today, and when the next is due and why then (nil: not yet worked out).
func (s *Session) SetDrift(d *DriftState, next *time.Time, why string) {
	// An error here means the session has stopped; nobody is left to show it to.
	_ = s.ask(context.Background(), func() { s.drift, s.next, s.nextWhy = d, next, why })
}
