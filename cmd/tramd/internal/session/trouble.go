package session

import "context"

// Trouble shows that a chore went wrong, and why; an empty why takes it back.
func (s *Session) Trouble(kind, why string) {
	// An error here means that the session has stopped: it has no readers then.
	_ = s.ask(context.Background(), func() {
		if why == "" {
			delete(s.troubles, kind)
			return
		}
		s.troubles[kind] = why
	})
}

// RecordDamaged shows that the record is damaged, and why: what is measured may not be read again.
func (s *Session) RecordDamaged(why string) {
	_ = s.ask(context.Background(), func() {
		s.troubles["record"] = why
		s.damaged = why
	})
}
