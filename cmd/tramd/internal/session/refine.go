package session

import (
	"time"

	"tramd/sweep"
)

// While somebody watches, the full model is fitted to the readings so far, up to once a second, on a goroutine of its own,
// so that the interval that is shown is an honest one. It may take a hundredth of the time, no more: a small computer
// has a port to read.
const (
	refineEvery  = time.Second
	refineShare  = 100
	refineAtMost = 200_000 // readings; beyond that the live fit stands until the end
	watchedFor   = 2 * time.Second
)

// refinement is what the full model says of the sweep in hand.
type refinement struct {
	run    int64
	joined []sweep.Point // what it rests on
	result sweep.Result
	err    error
	took   time.Duration
}

// refine starts a fit of the full model when one is due.
func (s *Session) refine(now time.Time) {
	j := s.job
	if j == nil || !j.begun || j.phase == Fitting || j.refining || now.Sub(s.watched) > watchedFor ||
		now.Before(j.refineAt) || j.points.n == j.refined || j.points.n > refineAtMost {
		return
	}
	if _, err := j.live.Result(); err != nil && j.steady == nil {
		return
	}
	n := len(j.joined)
	pieces, joined, run, setup := j.points.since(n), j.joined, j.run, j.setup
	doubts := j.doubts[:len(j.doubts):len(j.doubts)]
	j.refining, j.refined = true, j.points.n
	go func() {
		r := refinement{run: run, joined: join(joined, pieces)}
		began := time.Now()
		r.result, r.err = s.o.Fit(sweep.Believed(r.joined, doubts), setup)
		r.result.WarnDoubts(doubts)
		r.took = time.Since(began)
		select {
		case s.refinements <- r:
		case <-s.ended:
		}
	}()
}

func (s *Session) refinedTo(r refinement) {
	j := s.job
	if j == nil || j.run != r.run {
		return
	}
	j.refining, j.joined = false, r.joined
	j.refineAt = time.Now().Add(max(refineEvery, refineShare*r.took))
	if r.err == nil {
		j.full = &r.result
	}
}
