package session

import (
	"context"

	"tramd/cmd/tramd/internal/api"
)

// Imported takes note of a finished sweep that was brought into the store from elsewhere. It becomes the last check
// only where it is younger than that.
func (s *Session) Imported(ctx context.Context, r api.LastRun) error {
	return s.ask(ctx, func() {
		s.counts[api.RunKey{Kind: api.Sweeping, Outcome: string(api.Finished)}]++
		if s.last == nil || r.At.After(s.last.At) {
			s.last = &r
		}
	})
}

// ImportedOther takes note of a finished measurement of another kind that was brought into the store from elsewhere.
func (s *Session) ImportedOther(ctx context.Context, kind string) error {
	return s.ask(ctx, func() { s.counts[api.RunKey{Kind: kind, Outcome: string(api.Finished)}]++ })
}

// Healed takes note of a finished sweep whose result was made again, where it is the last check or younger.
func (s *Session) Healed(ctx context.Context, r api.LastRun) {
	// An error here means that the session has stopped: it has no readers then.
	_ = s.ask(ctx, func() {
		if s.last == nil || r.Run == s.last.Run || r.At.After(s.last.At) {
			s.last = &r
		}
	})
}

// Redate gives the last run a new date: the clock was set after it was taken. Another run is left alone.
func (s *Session) Redate(last api.LastRun) {
	// An error here means that the session has stopped: it has no readers then.
	_ = s.ask(context.Background(), func() {
		if s.last != nil && s.last.Run == last.Run {
			s.last = &last
		}
	})
}
