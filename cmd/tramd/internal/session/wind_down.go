package session

import (
	"time"

	"tramd/cmd/tramd/internal/api"
)

// How long the end of the daemon waits, at the most: for the arm to stand, and for a fit. Neither holds the lock.
const (
	armTimeout = 4 * time.Second
	fitTimeout = 5 * time.Second
)

// windDown ends the sweep in hand because the daemon ends: the arm is stopped and stands, what was measured is fitted,
// and nothing is taken after that.
func (s *Session) windDown() {
	const why = "the daemon was stopped"
	s.locked(func() {
		if j := s.job; j != nil && j.run != 0 && j.phase != api.PhaseFitting {
			s.end(api.Abandoned, why)
		}
	})
	s.stopMotion() // one that is just being begun, too
	if !s.armStands(armTimeout) {
		s.o.Log.Error("the motion controller's line does not let go; use the machine's own stop")
		s.locked(func() {
			if j := s.job; j != nil && j.motion != nil && !j.motion.over {
				s.motionEnded(j, why+
					", and the motion controller's line did not let go: it is not known whether it stands", false)
			}
		})
	}
	fitting := false
	s.locked(func() { fitting = s.job != nil && s.job.run != 0 && s.job.phase == api.PhaseFitting && s.job.awaits })
	if fitting {
		select {
		case f := <-s.fits:
			s.locked(func() { s.fitDone(f) })
		case <-time.After(fitTimeout):
			// The run stays without an end; the next start finds and keeps it.
		}
	}
	s.locked(func() { s.stopped = true })
}

// armStands waits until no program moves the arm.
func (s *Session) armStands(most time.Duration) bool {
	done := make(chan struct{})
	go func() { s.motions.Wait(); close(done) }()
	select {
	case <-done:
		return true
	case <-time.After(most):
		return false
	}
}

// takes reports whether a run takes readings at its stations now.
func (j *job) takes() bool { return j.phase == api.PhaseWaiting || j.phase == api.PhaseTurning }
