package session

import (
	"context"
	"time"

	"tramd/cmd/tramd/internal/api"
)

// SetAssembly shows how the measurements of the assembly hold that were checked.
func (s *Session) SetAssembly(all []api.StandingState) {
	// An error here means that the session has stopped and shows nothing more.
	_ = s.ask(context.Background(), func() { s.assembly = all })
}

// SetDrift shows what the stored checks say today, and when the next is due and why then (nil: not yet worked out).
func (s *Session) SetDrift(d *api.DriftState, next *time.Time, why string) {
	// An error here means that the session has stopped: it has no readers then.
	_ = s.ask(context.Background(), func() { s.drift, s.next, s.nextWhy = d, next, why })
}
