package session

import (
	"time"

	"tramd/cmd/tramd/internal/api"
	"tramd/sweep"
)

// source gives the readings of a run their angles or positions, and knows when it has them all. There is one for each
// way to know where the arm or an axis stands: an encoder that turns with the arm (turnedArm), a spindle that turns
// steadily by itself (turning), announced places at which it rests (atStations; readings typed and half turns are such
// too), and an axis that moves along legs (course). Everything is called under the session's lock.
type source interface {
	reading(s *Session, j *job, indicator int, t, mm float64) // takes a reading, by the indicator's number in the run
	turned(j *job) float64                                    // how many turns lie behind, or how much of the whole
	streams() bool                                            // readings come all the time, and not place by place
	tick(s *Session, j *job, now time.Time) bool              // notices what no reading shows; whether it did
	close()                                                   // the run takes no more readings
	say(s *Session, j *job) string                            // what the person is to do next
}

// steps is a source whose parts a person takes, leaves out and takes again one by one.
type steps interface {
	source
	take(s *Session, j *job) error
	skip(s *Session, j *job) error
	redo(s *Session, j *job, i int) error
}

// newSource returns the source of a sweep on this machine.
func (s *Session) newSource() source {
	switch {
	case s.o.Angle.Steady != nil:
		return newTurning(s)
	case s.encoder == nil:
		return &atStations{Stations: sweep.NewStations(s.o.Angle.Stations)}
	}
	return &turnedArm{}
}

// stations returns the stations of a run; nil where it has none.
func (j *job) stations() *atStations {
	a, _ := j.source.(*atStations)
	return a
}

// course returns the course of a run while it takes readings; nil where it has none or takes none.
func (s *Session) course() *course {
	if s.job == nil || s.job.phase == api.PhaseFitting {
		return nil
	}
	c, _ := s.job.source.(*course)
	return c
}
