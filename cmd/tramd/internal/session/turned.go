package session

import (
	"fmt"
	"math"
	"time"

	"tramd/cmd/tramd/internal/api"
	"tramd/sweep"
)

// turnedArm is the arm of a sweep whose angle an encoder tells.
type turnedArm struct {
	placed    bool    // its first angle is known
	low, high float64 // travel of the unwrapped angle
	origin    float64 // where it began
	back      bool    // it is being turned back to there
	restAngle float64
	restSince time.Time
}

// Angles that decide when a turn has begun and ended.
const (
	startRad   = 0.5 * math.Pi / 180 // an arm that moved this far is being turned
	overlapRad = 3 * math.Pi / 180   // carried on past the start, so that the closure is seen
	shortRad   = 2 * math.Pi / 180   // a hand that stops this close to the start has come round
	restRad    = 0.2 * math.Pi / 180
	restTime   = 700 * time.Millisecond
)

// reading hands a reading to the encoder, which gives it back to point once its angle is known.
func (*turnedArm) reading(s *Session, _ *job, indicator int, t, mm float64) {
	s.encoder.AddReading(t, mm, indicator, s.emit)
}

func (*turnedArm) streams() bool { return true }
func (*turnedArm) close()        {}

// point takes a reading tagged by the encoder.
func (a *turnedArm) point(s *Session, j *job, p sweep.Point) {
	if math.IsNaN(p.Angle) {
		if j.begun {
			j.untagged++
			j.keep(p)
		}
		return
	}
	if !j.begun {
		if !a.placed {
			a.placed, a.low, a.high = true, p.Angle, p.Angle
		}
		if math.Abs(p.Angle-a.low) < startRad {
			return
		}
		j.begun, j.phase = true, api.PhaseTurning
		a.low, a.high, a.restAngle, a.origin = p.Angle, p.Angle, p.Angle, p.Angle
		a.restSince, j.movedAt = time.Now(), time.Now()
	}
	a.low, a.high = math.Min(a.low, p.Angle), math.Max(a.high, p.Angle)
	if math.Abs(p.Angle-a.restAngle) > restRad {
		a.restAngle, a.restSince = p.Angle, time.Now()
		j.movedAt = a.restSince
	}
	j.keep(p)
	j.live.Add(p)
	if a.high-a.low >= j.wanted()+overlapRad || a.back {
		a.round(s)
	}
}

// round takes it that the arm has gone as far as it was to go: that is the end, or it is to be turned back to where it
// began, which shows how late the angles are.
func (a *turnedArm) round(s *Session) {
	if s.o.BothWays && (!a.back || math.Abs(a.restAngle-a.origin) > shortRad) {
		a.back = true
		return
	}
	s.end(api.Finished, "")
}

func (a *turnedArm) turned(j *job) float64 {
	if !j.begun {
		return 0
	}
	turned := (a.high - a.low) / (2 * math.Pi)
	if a.back { // and as much of the way back as lies behind
		turned += (a.high - a.low - math.Abs(a.restAngle-a.origin)) / (2 * math.Pi)
	}
	return turned
}

// tick ends a turn whose hand stopped close enough to the start.
func (a *turnedArm) tick(s *Session, j *job, now time.Time) bool {
	if !j.begun || a.back || a.high-a.low < j.wanted()-shortRad || now.Sub(a.restSince) <= restTime {
		return false
	}
	a.round(s)
	return true
}

func (a *turnedArm) say(s *Session, j *job) string {
	switch turned := a.turned(j); {
	case !j.begun && s.encoder.Unplaced():
		return "Turn the arm past the encoder's index mark, so that its angle is known, then go on slowly, the same way round."
	case !j.begun:
		return "Turn the arm slowly by hand, either way round."
	case a.back:
		return fmt.Sprintf("Now turn back, the other way round, to where you began: %.2f of %d.", turned, 2*j.turns)
	case turned < float64(j.turns):
		return fmt.Sprintf("Keep turning: %.2f of %d.", turned, j.turns)
	}
	return "A little further, past the place you began at."
}
