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

	placed    bool    // the arm's first angle is known
	begun     bool    // the arm has moved
	low, high float64 // travel of the unwrapped angle
	origin    float64 // where the arm began
	back      bool    // it is being turned back to there
	restAngle float64
	restSince time.Time
	movedAt   time.Time
	flushedAt time.Time
	lostAt    time.Time // when an indicator was first seen to be gone; zero while all are there
	stations  *sweep.Stations
	there     bool         // of a half turn with an encoder: the arm rests at the station
	unstirred unstirred    // a take that was put off
	wants     map[int]bool // indicators that were asked for the present station and have not answered; nil: none
	steady    *turning

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

// Angles that decide when a turn has begun and ended.
const (
	startRad   = 0.5 * math.Pi / 180 // an arm that moved this far is being turned
	overlapRad = 3 * math.Pi / 180   // carried on past the start, so that the closure is seen
	shortRad   = 2 * math.Pi / 180   // a hand that stops this close to the start has come round
	restRad    = 0.2 * math.Pi / 180
	restTime   = 700 * time.Millisecond
)

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
		flushedAt: now, live: live}
	j.follower = &follower{}
	switch {
	case s.o.Angle.Steady != nil:
		j.steady = newTurning(s)
	case s.encoder == nil:
		j.stations = sweep.NewStations(s.o.Angle.Stations)
	}
	return j, nil
}

// point takes a reading tagged by the encoder.
func (j *job) point(s *Session, p sweep.Point) {
	if math.IsNaN(p.Angle) {
		if j.begun {
			j.untagged++
			j.keep(p)
		}
		return
	}
	if !j.begun {
		if !j.placed {
			j.placed, j.low, j.high = true, p.Angle, p.Angle
		}
		if math.Abs(p.Angle-j.low) < startRad {
			return
		}
		j.begun, j.phase = true, api.PhaseTurning
		j.low, j.high, j.restAngle, j.origin = p.Angle, p.Angle, p.Angle, p.Angle
		j.restSince, j.movedAt = time.Now(), time.Now()
	}
	j.low, j.high = math.Min(j.low, p.Angle), math.Max(j.high, p.Angle)
	if math.Abs(p.Angle-j.restAngle) > restRad {
		j.restAngle, j.restSince = p.Angle, time.Now()
		j.movedAt = j.restSince
	}
	j.keep(p)
	j.live.Add(p)
	if j.high-j.low >= j.wanted()+overlapRad || j.back {
		j.round(s)
	}
}

// round takes it that the arm has gone as far as it was to go: that is the end, or it is to be turned back to where it
// began, which shows how late the angles are.
func (j *job) round(s *Session) {
	if s.o.BothWays && (!j.back || math.Abs(j.restAngle-j.origin) > shortRad) {
		j.back = true
		return
	}
	s.end(api.Finished, "")
}

func (j *job) keep(p sweep.Point) {
	j.points.add(p)
	j.lastAt = device.Stamp(p.T * 1e9)
}

func (j *job) wanted() float64 { return float64(j.turns) * 2 * math.Pi }

// turned is how many turns the arm has travelled.
func (j *job) turned() float64 {
	if j.stations != nil {
		return float64(j.stations.Taken()) / float64(j.stations.Len())
	}
	if j.course != nil {
		return j.course.progress()
	}
	if j.steady != nil {
		return j.steady.turns(float64(j.lastAt) / 1e9)
	}
	if !j.begun {
		return 0
	}
	turned := (j.high - j.low) / (2 * math.Pi)
	if j.back { // and as much of the way back as lies behind
		turned += (j.high - j.low - math.Abs(j.restAngle-j.origin)) / (2 * math.Pi)
	}
	return turned
}

// cameRound reports whether the hand stopped close enough to the start to call it a turn.
func (j *job) cameRound(now time.Time) bool {
	return j.stations == nil && j.steady == nil && j.course == nil && j.begun && !j.back &&
		j.high-j.low >= j.wanted()-shortRad && now.Sub(j.restSince) > restTime
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
	case j.kind == api.HalfTurn:
		return j.sayHalfTurn(s)
	case j.stations != nil:
		return j.sayStation(s)
	case j.course != nil:
		return j.course.say()
	case j.steady != nil:
		return j.saySteady(s)
	case !j.begun && s.encoder.Unplaced():
		return "Turn the arm past the encoder's index mark, so that its angle is known, then go on slowly, the same way round."
	case !j.begun:
		return "Turn the arm slowly by hand, either way round."
	case j.back:
		return fmt.Sprintf("Now turn back, the other way round, to where you began: %.2f of %d.", j.turned(), 2*j.turns)
	case j.turned() < float64(j.turns):
		return fmt.Sprintf("Keep turning: %.2f of %d.", j.turned(), j.turns)
	}
	return "A little further, past the place you began at."
}
