package session

import (
	"context"
	"fmt"
	"math"
	"time"

	"tramd/cmd/tramd/internal/api"
	"tramd/device"
	"tramd/device/frame"
	"tramd/sweep"
)

// turning is a sweep at constant speed: readings without an angle, and marks that have one. What the angles of the
// readings are is worked out from all of them together.
type turning struct {
	o      sweep.Steady
	pulses bool    // marks come by themselves, once a turn
	first  float64 // time of the first mark
	marks  int
}

func newTurning(s *Session) *turning {
	return &turning{o: *s.o.Angle.Steady, pulses: s.o.Angle.Device >= 0}
}

// mark takes an index pulse or the start mark at t; told says that the pulse itself says that it is the start mark.
// With it the run begins.
func (j *job) mark(s *Session, t float64, told bool) {
	w := j.steady
	if w.marks > 0 && t <= w.first {
		return
	}
	if w.marks == 0 {
		w.first = t
	}
	w.marks++
	j.begun, j.phase, j.movedAt = true, api.PhaseTurning, time.Now()
	// The mark is kept as a point, so that the run can be fitted again; its reading is the latest there was.
	mm := 0.0
	if s.latest[0].at != 0 {
		mm = s.latest[0].mm.MM()
	}
	j.keep(sweep.Point{T: t, Angle: w.o.PulseAngle(told || !w.o.Marked && w.marks == 1), Reading: mm})
}

// turningBy takes a reading of a spindle that turns by itself.
func (j *job) turningBy(s *Session, t, mm float64, indicator int) {
	if !j.begun || t < j.steady.first {
		return
	}
	j.movedAt = time.Now()
	j.keep(sweep.Point{T: t, Angle: math.NaN(), Reading: mm, Indicator: indicator})
	if j.steady.turns(t) >= float64(j.turns)+j.steady.over() {
		s.end(api.Finished, "")
	}
}

// turns is how many turns have gone by at t, by the marks or else by the speed that was said.
func (w *turning) turns(t float64) float64 {
	switch {
	case w.marks == 0:
		return 0
	case w.pulses:
		return float64(w.marks-1) / float64(max(1, w.o.Pulses))
	}
	return (t - w.first) * w.o.TurnsPerMin / 60
}

// over is how far past the wanted turns the sweep goes on: the speed that was said is rough.
func (w *turning) over() float64 {
	if w.pulses {
		return 0
	}
	return 0.1
}

// pulses takes what came through the index line.
func (s *Session) pulses(samples []device.Sample) {
	for _, x := range samples {
		if x.Kind != frame.Pulse {
			continue
		}
		s.angleAt = x.At
		if j := s.job; j != nil && j.steady != nil && j.phase != api.PhaseFitting {
			j.mark(s, x.At.Seconds()-s.o.Angle.Delay.Seconds(), x.Mark)
		}
	}
}

// startMark takes the person's word that the arm passes the mark now.
func (s *Session) startMark(ctx context.Context, run int64) error {
	var err error
	if e := s.ask(ctx, func() {
		switch j := s.job; {
		case j == nil || j.run != run || j.phase == api.PhaseFitting:
			err = api.NotFound.Errorf("run %d is not taking readings", run)
		case j.steady.pulses:
			err = api.Conflict.Errorf("the index pulse marks the turns; there is nothing to take")
		case j.begun:
			err = api.Conflict.Errorf("the start is marked already")
		default:
			j.mark(s, device.Now().Seconds(), true)
		}
	}); e != nil {
		return e
	}
	return err
}

func (j *job) saySteady(s *Session) string {
	w := j.steady
	switch {
	case !j.begun && w.pulses && w.o.Pulses > 1 && !w.o.Marked:
		return fmt.Sprintf(
			"Put the arm just before %s, so that the pulse there comes first, and let the spindle be turned slowly at a constant speed. Keep clear of it.", place(w.o.MarkDeg))
	case !j.begun && w.pulses:
		return "Waiting for the index pulse: let the spindle be turned slowly at a constant speed. Keep clear of it."
	case !j.begun:
		return fmt.Sprintf(
			"Let the spindle be turned slowly at a constant speed, then take the mark as the arm passes %s. Keep clear of it.", place(w.o.MarkDeg))
	}
	return fmt.Sprintf("Let it turn: %.1f of %d.", w.turns(device.Now().Seconds()), j.turns)
}
