package session

import "time"

// idleLatency is how long bytes may wait to be read while no sweep is in hand: a reader sees no difference, and
// watching for weeks costs a few times less.
const idleLatency = 5 * time.Millisecond

// agree tells the ports how long their bytes may wait, whenever that has changed.
func (s *Session) agree() {
	want := idleLatency
	if s.job != nil && s.job.phase != Fitting {
		want = 0
	}
	if s.o.Latency != nil && want != s.latency {
		s.latency = want
		s.o.Latency(want)
	}
}
