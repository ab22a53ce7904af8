package session

import "context"

// Redate gives the last run a new date: the clock was set after it was taken. Another run is left alone.
func (s *Session) Redate(last LastRun) {
	// An error here means that the session has stopped: it has no readers then.
	_ = s.ask(context.Background(), func() {
		if s.last != nil && s.last.Run == last.Run {
			s.last = &last
		}
	})
}
