package session

import (
	"context"
	"time"
)

// SetDrift shows what the stored checks say today, and when the next is due (nil: nothing can be said).
func (s *Session) SetDrift(d *DriftState, next *time.Time) {
	// An error here means the session has stopped; nobody is left to show it to.
	_ = s.ask(context.Background(), func() { s.drift, s.next = d, next })
}
