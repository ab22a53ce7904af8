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

// PositionRoute says what tells where an axis stands.
type PositionRoute struct {
	Source string // as configured; empty: nothing does
	Device int    // of a scale; -1: none
	Delay  time.Duration
	Scale  sweep.ScaleOptions
	MMPerS float64 // of an axis that moves at a constant feed
	Zeroed bool    // the configuration says at which position the scale shows 0
}

// scaled is the linear scale of a session, under its lock.
type scaled struct {
	*sweep.Scale
	o         PositionRoute
	at        device.Stamp // when it last spoke
	zeroed    bool         // positions are known, and not only how far they lie apart
	jumps     int
	comebacks uint64
}

func (s *Session) newScaled() *scaled {
	if s.o.Position.Source == "" || s.o.Position.Device < 0 {
		return nil
	}
	return &scaled{o: s.o.Position, zeroed: s.o.Position.Zeroed, Scale: sweep.NewScale(s.o.Position.Scale, s.placed)}
}

// placed takes a reading with its position from the scale.
func (s *Session) placed(p sweep.Point) {
	if c := s.course(); c != nil {
		c.add(s, s.job, p)
	}
}

// counts takes what the scale sent.
func (x *scaled) counts(samples []device.Sample) {
	last := samples[len(samples)-1].At
	for _, c := range samples {
		if c.Kind != frame.Count {
			continue
		}
		x.Slack((last - c.At).Seconds())
		x.AddCount(c.At.Seconds()-x.o.Delay.Seconds(), c.Value)
		x.at = c.At
	}
}

// watchScale notices that the scale went away, or that its count jumped: what comes after cannot be joined with what
// came before.
func (s *Session) watchScale() {
	x := s.scale
	if x == nil {
		return
	}
	st := s.o.Ports[x.o.Device].Status()
	gone, jumped := st.Reconnects != x.comebacks, x.Jumps() != x.jumps
	x.comebacks, x.jumps = st.Reconnects, x.Jumps()
	if !gone && !jumped {
		return
	}
	why := "The scale was unplugged and came back."
	if !gone {
		why = "The scale's count jumped further than an axis can move: check its reading head and cable."
	}
	s.o.Log.Warn("the scale lost its position", "unplugged", gone)
	x.zeroed = x.o.Zeroed
	x.Lose()
	if c := s.course(); c != nil {
		c.lost(s, s.job, why)
	}
}

func (s *Session) positionState(mono device.Stamp) *api.PositionState {
	if s.o.Position.Source == "" {
		return nil
	}
	out := &api.PositionState{Source: s.o.Position.Source}
	if s.scale == nil || s.scale.at == 0 {
		return out
	}
	age := (mono - s.scale.at).Seconds()
	out.AgeS = &age
	if mm, known := s.scale.where(); known && mono-s.scale.at < device.Stamp(staleAfter) {
		out.MM = &mm
	}
	return out
}

func (x *scaled) read(t, mm float64) { x.AddReading(t, mm, 0) }

func (x *scaled) where() (mm float64, known bool) {
	mm, _, known = x.Position()
	return mm, known && x.zeroed
}

// begin takes where the axis stands for the leg's beginning where the scale has no zero yet, and otherwise checks that
// it stands there.
func (x *scaled) begin(leg Leg) error {
	if !x.zeroed {
		if !x.SetPosition(leg.FromMM) {
			return api.Conflict.Errorf("the scale has said nothing yet; wait for it, or see its port")
		}
		x.zeroed = true
		return nil
	}
	mm, known := x.where()
	switch {
	case !known:
		return api.Conflict.Errorf("the scale has said nothing yet; wait for it, or see its port")
	case math.Abs(mm-leg.FromMM) > math.Max(awayMM, awayPart*leg.length()):
		return api.Conflict.Errorf("the scale shows %.2f mm, and %s begins at %g mm: move there first", mm, leg.Name,
			leg.FromMM)
	}
	return nil
}

// end takes it that a leg ends short of where it was meant to.
func (x *scaled) end(leg Leg) error {
	if mm, known := x.where(); known && leg.done(mm) < 0.5 {
		return api.Conflict.Errorf("the scale shows %.2f mm, which is not half of %s: go on to %g mm, or skip it", mm,
			leg.Name, leg.ToMM)
	}
	return nil
}

func (x *scaled) leave() { x.Flush() }

func (x *scaled) endsByItself() bool {
	_, known := x.where()
	return known
}

func (x *scaled) sayBegin(leg Leg) string {
	if !x.zeroed {
		return fmt.Sprintf("%s, and take it there: the scale counts from there.", leg.Do)
	}
	if mm, known := x.where(); known {
		return fmt.Sprintf("%s, and take it there; the scale shows %.2f mm.", leg.Do, mm)
	}
	return fmt.Sprintf("%s, and take it there.", leg.Do)
}

func (x *scaled) sayEnd(leg Leg, mm float64, known bool) string {
	if !known {
		return fmt.Sprintf("Move slowly on to %g mm.", leg.ToMM)
	}
	return fmt.Sprintf("Move slowly on to %g mm: %.2f mm.", leg.ToMM, mm)
}
