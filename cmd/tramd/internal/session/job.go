package session

import (
	"fmt"
	"math"
	"sync/atomic"
	"time"

	"tramd/cmd/tramd/internal/api"
	"tramd/device"
	"tramd/sweep"
)

// job is the sweep in hand, under the session's lock.
type job struct {
	runSpec
	run     int64
	purpose string
	turns   int
	phase   api.SweepPhase
	started time.Time

	live     *sweep.Live
	points   points       // all of them, for the final fit
	queued   int          // how many of points were put into the write queue
	durable  atomic.Int64 // how many are on disk
	untagged int
	lastAt   device.Stamp

	source    source // where its angles or positions come from
	begun     bool   // the arm has moved
	movedAt   time.Time
	flushedAt time.Time
	lostAt    time.Time // when an indicator was first seen to be gone; zero while all are there

	motion *moved  // the arm, where a program moves it; nil: somebody does
	ends   ending  // how the run ends, once its readings are closed
	awaits bool    // it waits for its fit
	ended  *Ending // what waits to be stored; nil: it has not come to that

	doubts   []sweep.Doubt // stretches of points whose angles turned out wrong
	doubtful int           // how many points lie in them

	drawn   []api.CurvePoint // the curve as it was shown last
	drawnAt time.Time

	measuring // of a measurement that is no sweep
	following
}

// flushEvery keeps the readings on disk about a second behind. Each commit costs a memory card some 8 kB, however few
// readings it brings.
const flushEvery = time.Second

// lostFor is how long an indicator may be gone before the sweep is given up.
const lostFor = 30 * time.Second

func newJob(s *Session, run int64, turns int, now time.Time) (*job, error) {
	live, err := sweep.NewLive(s.setup())
	if err != nil {
		return nil, err
	}
	j := &job{runSpec: s.sweeping(), run: run, turns: turns, phase: api.PhaseWaiting, started: s.o.Wall(), movedAt: now,
		flushedAt: now, live: live, source: s.newSource()}
	j.follower = &follower{}
	return j, nil
}

func (j *job) keep(p sweep.Point) {
	j.points.add(p)
	j.lastAt = device.Stamp(p.T * 1e9)
}

func (j *job) wanted() float64 { return float64(j.turns) * 2 * math.Pi }

// ready says why there are too few readings for a first fit; nil: there are enough.
func (j *job) ready() error {
	if _, steady := j.source.(*turning); steady {
		return nil // no reading has its angle before the fit
	}
	return j.live.Ready()
}

// flush hands the new points to the write queue.
func (j *job) flush(s *Session, now time.Time) {
	j.flushedAt = now
	for _, piece := range j.points.since(j.queued) {
		stored, spots := j.spots(j.queued, piece)
		j.queued += len(piece)
		n := int64(j.queued)
		s.archive.add(writing{run: j.run, points: stored, spots: spots, done: func() { j.durable.Store(n) }})
	}
}

// sayEnding says what a run that takes no more readings waits for.
func (j *job) sayEnding(s *Session) string {
	switch _, err := s.archive.state(); {
	case j.awaits || j.run == 0:
		return "All readings are in. Working out the result."
	case err != nil:
		return fmt.Sprintf(
			"The run cannot be stored now: %v. Make room on the disk, or mend it; what was read and its result stay in "+
				"memory, and storing is tried each second. Do not stop the daemon: that loses what is not stored (%d of %d readings are).",
			err, j.durable.Load(), j.points.n)
	}
	return "All readings are in. Storing the result."
}

// say tells the person what to do next.
func (j *job) say(s *Session) string {
	switch {
	case j.phase == api.PhaseFitting:
		return j.sayEnding(s)
	case j.motion != nil: // what the arm does comes before all else
		return j.motion.says
	case s.missingTo(j) != "":
		return s.missingTo(j)
	}
	return j.source.say(s, j)
}
