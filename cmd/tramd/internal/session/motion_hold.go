package session

import (
	"context"
	"net/http"
	"time"
)

// HoldFor is how long motion that a terminal began goes on without a sign that the terminal is still there.
const HoldFor = 2 * time.Second

// goneAway is why such motion was stopped.
const goneAway = "the terminal that began the motion is gone, so nobody watches it there; the arm was stopped"

// StartHeldMotion is StartMotion for a terminal, where one key stops the arm: once the terminal is gone nobody can press it.
// The motion goes on while [Session.HoldMotion] is called at least every [HoldFor].
func (s *Session) StartHeldMotion(ctx context.Context, key, purpose string) (int64, error) {
	return s.startMotion(ctx, purpose, true, s.byKey(key))
}

// HoldMotion says that the terminal which began a motion is still there.
func (s *Session) HoldMotion(ctx context.Context, run int64) error {
	var err error
	if e := s.ask(ctx, func() {
		if j := s.job; j != nil && j.run == run && !j.heldUntil.IsZero() {
			j.heldUntil = time.Now().Add(HoldFor)
			return
		}
		err = refuse(http.StatusNotFound, "run %d is not moved from a terminal", run)
	}); e != nil {
		return e
	}
	return err
}

// LetGoMotion says that the terminal is gone, and stops the arm. A motion that has ended, or was not begun so, is left as it
// is.
func (s *Session) LetGoMotion(run int64) {
	s.locked(func() {
		if j := s.job; j != nil && j.run == run && !j.heldUntil.IsZero() && j.phase != Fitting {
			s.end(Abandoned, goneAway)
		}
	})
}

// unheld says whether the terminal that began the motion has been silent for too long.
func (j *job) unheld(now time.Time) bool { return !j.heldUntil.IsZero() && now.After(j.heldUntil) }
