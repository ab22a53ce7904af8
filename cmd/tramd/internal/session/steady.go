package session

import (
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
func (w *turning) mark(s *Session, j *job, t float64, told bool) {
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

// reading takes a reading of a spindle that turns by itself.
func (w *turning) reading(s *Session, j *job, indicator int, t, mm float64) {
	if !j.begun || t < w.first {
		return
	}
	j.movedAt = time.Now()
	j.keep(sweep.Point{T: t, Angle: math.NaN(), Reading: mm, Indicator: indicator})
	if w.turns(t) >= float64(j.turns)+w.over() {
		s.end(api.Finished, "")
	}
}

func (w *turning) turned(j *job) float64             { return w.turns(float64(j.lastAt) / 1e9) }
func (*turning) streams() bool                       { return true }
func (*turning) tick(*Session, *job, time.Time) bool { return false }
func (*turning) close()                              {}

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
		if j := s.job; j != nil && j.phase != api.PhaseFitting {
			if w, steady := j.source.(*turning); steady {
				w.mark(s, j, x.At.Seconds()-s.o.Angle.Delay.Seconds(), x.Mark)
			}
		}
	}
}

// start takes the person's word that the arm passes the mark now.
func (w *turning) start(s *Session, j *job) error {
	switch {
	case w.pulses:
		return api.Conflict.Errorf("the index pulse marks the turns; there is nothing to take")
	case j.begun:
		return api.Conflict.Errorf("the start is marked already")
	}
	w.mark(s, j, device.Now().Seconds(), true)
	return nil
}

func (w *turning) say(_ *Session, j *job) string {
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
