package session

import (
	"fmt"
	"math"
	"time"

	"tramd/cmd/tramd/internal/api"
	"tramd/sweep"
)

// halfTurn is the run of a half turn that begins with the arm at deg: two stations opposite each other, which the full
// model fits as it does any. Where no encoder tells the angle they are set by eye, whatever the angle source of the
// sweeps is.
func (s *Session) halfTurn(deg float64) runSpec {
	w := runSpec{kind: api.HalfTurn, setup: s.setup()}
	deg = sweep.Degrees(sweep.Wrap(sweep.Radians(deg)))
	w.setup.StationsDeg = []float64{deg, math.Mod(deg+180, 360)}
	w.setup.Steady = nil
	if s.encoder == nil && !s.o.Angle.Stations.Typed {
		w.setup.AngleSource = "stations"
	}
	return w
}

// becomeHalfTurn has a job that was just made take its two stations.
func (j *job) becomeHalfTurn(s *Session) {
	degs := j.setup.StationsDeg
	if rad, _, known := s.encoderAngle(); known &&
		math.Abs(math.Remainder(rad-sweep.Radians(degs[0]), 2*math.Pi)) > math.Pi/2 {
		degs = []float64{degs[1], degs[0]} // the nearer first
	}
	o := s.o.Angle.Stations
	o.AnglesDeg, o.Closing, o.Indicators, o.Told = degs, false, len(s.o.Indicators), s.encoder != nil
	for _, ind := range s.o.Setup.Indicators {
		o.Resolution = math.Max(o.Resolution, ind.ResolutionMM)
	}
	j.source = &atStations{Stations: sweep.NewStations(o)}
}

func (s *Session) encoderAngle() (rad, t float64, known bool) {
	if s.encoder == nil || s.angleAt == 0 {
		return 0, 0, false
	}
	return s.encoder.Angle()
}

// standsThere reports whether the arm stands at the station, as far as an encoder tells: with one, readings count only
// while it rests there.
func (a *atStations) standsThere(s *Session, j *job) bool {
	if s.encoder == nil || j.measured != nil {
		return true
	}
	rad, _, known := s.encoderAngle()
	_, deg, ok := a.Here()
	switch {
	case !ok:
		a.there = false
	case !known || math.Abs(math.Remainder(rad-sweep.Radians(deg), 2*math.Pi)) > alongRad:
		a.there = false
	case !a.there || math.Abs(rad-a.restAngle) > restRad:
		a.there, a.restAngle, j.movedAt = true, rad, time.Now()
		a.Arrive()
	}
	return a.there
}

// asMeasured puts the angle that the encoder showed in the place of the announced one.
func (a *atStations) asMeasured(p sweep.Point) sweep.Point {
	p.Angle += math.Remainder(a.restAngle-p.Angle, 2*math.Pi)
	return p
}

func (a *atStations) sayHalfTurn(s *Session, j *job) string {
	_, deg, ok := a.Here()
	one, other, _, paired := sweep.OppositePair(s.o.Setup)
	if !ok || !paired {
		return ""
	}
	first := s.o.Setup.Indicators[one]
	do := fmt.Sprintf("Spindle power isolated? Set the bar with %s at %s", first.Name, place(deg+first.PhaseDeg))
	if a.Taken() > 0 {
		do = fmt.Sprintf("Read. Now turn the spindle half a turn by hand, %s to %s", first.Name,
			place(deg+first.PhaseDeg))
	}
	if s.o.Angle.Stations.Typed {
		return fmt.Sprintf("%s, and type the reading of %s.", do, s.wanted(j))
	}
	switch rad, _, known := s.encoderAngle(); {
	case s.encoder == nil:
	case !known:
		return "Turn the arm past the encoder's index mark, so that its angle is known. " + do + "."
	case !a.standsThere(s, j):
		now := sweep.Degrees(sweep.Wrap(rad)) + first.PhaseDeg
		return fmt.Sprintf("%s; it stands at %s.", do, place(math.Round(now)))
	}
	if span, long := a.Unsettled(); long > unsettledFor {
		return fmt.Sprintf(
			"The readings of %s and %s do not lie still (%.3f mm to and fro): let go of the bar, or take them as they are.",
			first.Name, s.o.Setup.Indicators[other].Name, span)
	}
	return do + ", let go and keep still."
}
