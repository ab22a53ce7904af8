package session

import "context"

// Imported takes note of a finished sweep that was brought into the store from elsewhere. It becomes the last check
// only where it is younger than that.
func (s *Session) Imported(ctx context.Context, r LastRun) error {
	return s.ask(ctx, func() {
		s.counts[RunKey{Sweeping, string(Finished)}]++
		if s.last == nil || r.At.After(s.last.At) {
			s.last = &r
		}
	})
}

// ImportedOther takes note of a finished measurement of another kind that was brought into the store from elsewhere.
func (s *Session) ImportedOther(ctx context.Context, kind string) error {
	return s.ask(ctx, func() { s.counts[RunKey{kind, string(Finished)}]++ })
}

// Healed takes note of a finished sweep whose result was made again, where it is the last check or younger.
func (s *Session) Healed(ctx context.Context, r LastRun) {
	// An error here means that the session has stopped: it has no readers then.
	_ = s.ask(ctx, func() {
		if s.last == nil || r.Run == s.last.Run || r.At.After(s.last.At) {
			s.last = &r
		}
	})
}
