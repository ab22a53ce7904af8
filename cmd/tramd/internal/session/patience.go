package session

import "time"

// idlePatience is how long bytes may wait to be read while no sweep is in hand: a reader sees no difference, and
// watching for weeks costs a few times less.
const idlePatience = 5 * time.Millisecond

// agree tells the ports how long their bytes may wait, whenever that has changed.
func (s *Session) agree() {
	want := idlePatience
	if s.job != nil && s.job.phase != Fitting {
		want = 0
	}
	if s.o.Patience != nil && want != s.patience {
		s.patience = want
		s.o.Patience(want)
	}
}
