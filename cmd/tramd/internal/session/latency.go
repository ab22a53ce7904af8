package session

import (
	"time"

	"tramd/cmd/tramd/internal/api"
)

// How long bytes may wait to be read. Almost all that reading costs is wake-ups, and a wake-up brings the lines of the
// whole wait. A person sees no difference: each look has what waits read first (see bring). An arm that a program moves
// is stopped by what the ports say, so there they are read at every line.
const (
	idleLatency = 100 * time.Millisecond
	// the end of a sweep, and a person's hand at a station, are noticed so much later. At 50 ms the angles of one reading
	// in a hundred on a busy computer were twice as far off
	sweepLatency = 20 * time.Millisecond
)

// readNow has the ports read before something rests on what they say now. It is called without the lock.
func (s *Session) readNow() {
	if s.o.ReadNow != nil {
		s.o.ReadNow()
	}
}

// agree tells the ports how long their bytes may wait, whenever that has changed.
func (s *Session) agree() {
	want := idleLatency
	switch j := s.job; {
	case j == nil || j.phase == api.PhaseFitting && j.motion == nil:
	case j.motion != nil:
		want = 0
	default:
		want = sweepLatency
	}
	if s.o.Latency != nil && want != s.latency {
		s.latency = want
		s.o.Latency(want)
	}
}
