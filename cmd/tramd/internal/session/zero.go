package session

import (
	"context"
	"fmt"
	"math"
	"strings"
	"time"

	"tramd/cmd/tramd/internal/api"
	"tramd/sweep"
)

// KeptZero is a zero that a person pointed, as it is stored.
type KeptZero struct {
	At       time.Time
	ZeroDeg  float64
	Reversed bool
	IndexDeg *float64 // nil: no index mark has kept it
}

// zeroing is what the session knows of the zero of its encoder.
type zeroing struct {
	zero    sweep.Zero
	why     string
	pointed KeptZero

	aiming bool  // the arm was pointed right and is being turned towards the back
	right  int64 // where it pointed right
	moved  int64 // where it last moved to by more than a little
	movedS float64
}

const (
	sayPointRight = "Point the arm right, hold it still and press."
	sayTurnBack   = "Now turn the arm about a quarter turn towards the back, and press."

	stillDeg = 0.5 // an arm that turns by more is not held still
	stillFor = 0.3 // seconds
	leastDeg = 20  // of a turn towards the back that shows a direction
	mostDeg  = 160
)

// beginZero sets out with what the configuration and the record say.
func (s *Session) beginZero() {
	a := s.o.Angle
	switch {
	case s.encoder == nil:
		return
	case !a.ZeroUnknown:
		s.zero.zero = sweep.Zero{From: sweep.ZeroConfigured, UDeg: a.ZeroUDeg}
	case a.Kept != nil && a.Kept.IndexDeg != nil && a.IndexMark:
		s.zero.pointed = *a.Kept
		s.zero.zero = sweep.Zero{From: sweep.ZeroIndex, At: a.Kept.At, UDeg: sweep.PointedUDeg}
	default:
		why := "Where 0 degrees is has not been established yet."
		if a.Kept != nil {
			why = fmt.Sprintf(
				"The zero that was pointed on %s lasted until the encoder's port was closed: without an index mark its count may begin anywhere.",
				a.Kept.At.Local().Format("2006-01-02 15:04"))
		}
		s.loseZero(why)
	}
}

// loseZero makes the zero unknown.
func (s *Session) loseZero(why string) {
	s.zero = zeroing{zero: sweep.Zero{From: sweep.ZeroUnknown}, why: why}
}

// encoderLost is called when the encoder's count may have begun again.
func (s *Session) encoderLost(jumped bool) {
	s.zero.aiming = false
	switch {
	case s.encoder.KeptByMark():
		if s.zero.zero.From == sweep.ZeroPointed {
			s.zero.zero.From = sweep.ZeroIndex
		}
	case jumped:
		s.loseZero("The encoder's count jumped further than an arm can turn, so its zero is lost.")
	case s.zero.zero.From == sweep.ZeroPointed:
		s.loseZero("The encoder was unplugged and came back; without an index mark its zero is lost.")
	}
}

// keepZero notices that the index mark was passed after the arm was pointed: from then on the mark keeps the zero.
func (s *Session) keepZero() {
	z := &s.zero
	if s.encoder == nil || z.zero.From != sweep.ZeroPointed || z.pointed.IndexDeg != nil {
		return
	}
	deg, ok := s.encoder.MarkDeg()
	if !ok {
		return
	}
	s.encoder.KeepBy(deg)
	z.pointed.IndexDeg = &deg
	s.storeZero()
}

func (s *Session) storeZero() {
	kept := s.zero.pointed
	s.archive.add(writing{zero: &kept})
}

// setup returns what a run that begins now is taken with.
func (s *Session) setup() sweep.Setup {
	setup := s.o.Setup
	if s.encoder != nil {
		zero := s.zero.zero
		setup.Zero = &zero
	}
	return setup
}

// zeroState says how the zero stands; nil where no encoder tells the angle.
func (s *Session) zeroState() *api.ZeroState {
	if s.encoder == nil {
		return nil
	}
	z := &s.zero
	st := &api.ZeroState{Known: z.zero.Known(), From: z.zero.From, Why: z.why, Next: api.ZeroRight, Say: sayPointRight,
		Reversed: s.encoder.Reversed()}
	if z.aiming {
		st.Next, st.Say = api.ZeroBack, sayTurnBack
	}
	if !z.zero.At.IsZero() {
		st.At = &z.zero.At
	}
	if z.zero.From == sweep.ZeroPointed || z.zero.From == sweep.ZeroIndex {
		st.ZeroDeg, st.IndexDeg = &z.pointed.ZeroDeg, z.pointed.IndexDeg
	}
	return st
}

// watchStill follows whether the arm is held still.
func (s *Session) watchStill(t float64) {
	place, known := s.encoder.Place()
	if known && math.Abs(s.encoder.TravelDeg(s.zero.moved, place)) > stillDeg {
		s.zero.moved, s.zero.movedS = place, t
	}
}

// Point takes one press of the person who establishes the zero.
func (s *Session) Point(ctx context.Context, step api.ZeroStep) (*api.ZeroState, error) {
	var st *api.ZeroState
	var err error
	s.readNow()
	if e := s.ask(ctx, func() {
		err = s.press(step)
		st = s.zeroState()
	}); e != nil {
		return nil, e
	}
	return st, err
}

func (s *Session) press(step api.ZeroStep) error {
	if s.encoder == nil {
		return api.Conflict.Errorf("no encoder tells the angle of this machine, so it has no zero to set")
	}
	if s.job != nil {
		return api.Conflict.Errorf("a run is being taken; finish or abandon it, then set the zero")
	}
	if missing := s.missingAngle(); missing != "" && !strings.Contains(missing, "silent") {
		return api.Conflict.Errorf("%s", missing)
	}
	place, known := s.encoder.Place()
	if !known {
		return api.Conflict.Errorf("the encoder has sent nothing yet: turn the arm a little, and see its port")
	}
	switch step {
	case api.ZeroRight:
		return s.pressRight(place)
	case api.ZeroBack:
		return s.pressBack(place)
	}
	return api.Invalid.Errorf(
		"step %q; write \"right\" once the arm points right, then \"back\" once it was turned towards the back", step)
}

func (s *Session) pressRight(place int64) error {
	z := &s.zero
	if at, _ := s.encoder.Heard(); at-z.movedS < stillFor {
		return api.Conflict.Errorf("the arm is still moving: hold it still where it points right, then press again")
	}
	z.aiming, z.right = true, place
	return nil
}

func (s *Session) pressBack(place int64) error {
	z := &s.zero
	if !z.aiming {
		return api.Conflict.Errorf(
			"the arm was not pointed right yet, or the encoder went away meanwhile: point it right, hold it still and press")
	}
	turned := s.encoder.TravelDeg(z.right, place)
	if math.Abs(turned) < leastDeg || math.Abs(turned) > mostDeg {
		return api.Conflict.Errorf(
			"the encoder shows %.0f degrees since the arm pointed right; turn it about a quarter turn towards the back, "+
				"the short way, and press again (if it was turned so, counts_per_turn or the wheels in the configuration are wrong)", math.Abs(turned))
	}
	s.encoder.SetZero(z.right, turned < 0)
	s.jumps = s.encoder.Jumps()
	now := s.o.Wall()
	s.zero = zeroing{zero: sweep.Zero{From: sweep.ZeroPointed, At: now, UDeg: sweep.PointedUDeg}, moved: z.moved,
		movedS: z.movedS}
	s.zero.pointed = KeptZero{At: now, ZeroDeg: s.encoder.ZeroDeg(), Reversed: s.encoder.Reversed()}
	if deg, ok := s.encoder.MarkDeg(); ok {
		s.zero.pointed.IndexDeg = &deg
	}
	s.storeZero()
	s.pair = nil // what it read was put to other angles
	s.o.Log.Info("a person set the zero of the encoder", "zero_deg", s.zero.pointed.ZeroDeg, "reversed",
		s.zero.pointed.Reversed)
	return nil
}

// ForgetZero makes the zero unknown on a person's word: the encoder was mounted again, or its coupling slipped.
func (s *Session) ForgetZero(ctx context.Context) (*api.ZeroState, error) {
	var st *api.ZeroState
	var err error
	if e := s.ask(ctx, func() {
		switch {
		case s.encoder == nil:
			err = api.Conflict.Errorf("no encoder tells the angle of this machine, so it has no zero")
		case s.job != nil:
			err = api.Conflict.Errorf("a run is being taken; finish or abandon it first")
		default:
			s.encoder.ForgetMark()
			if !s.zero.zero.At.IsZero() {
				s.zero.pointed.IndexDeg = nil // or the next start would take it up
				s.storeZero()
			}
			s.loseZero("A person said that the encoder was mounted again.")
			s.pair = nil
		}
		st = s.zeroState()
	}); e != nil {
		return nil, e
	}
	return st, err
}

// missingAngle says why the angle's port is of no use now, or "".
func (s *Session) missingAngle() string {
	if s.o.Angle.Device < 0 {
		return ""
	}
	return absent(s.o.Ports[s.o.Angle.Device])
}
