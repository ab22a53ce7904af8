package session

import (
	"context"
	"fmt"

	"tramd/cmd/tramd/internal/api"
	"tramd/cmd/tramd/internal/interlock"
)

// StepCautions returns what is said before an axis is stepped along a traverse, whose name comes first: with several
// described, the wrong one would move another way.
func StepCautions(traverse string) []string {
	return []string{
		fmt.Sprintf("The axis along %s is about to be moved by a motor. Keep hands, sleeves and tools clear of it, and "+
			"stay where you reach the machine's own stop.", traverse),
		"Isolate the spindle's own power first: it must not start while an indicator is on it or near it.",
		"Check that the axis can go from where it stands to the first place, and on to the last, without touching a clamp, the edge or a cable.",
		"Local rules and the machine's manual come first.",
	}
}

var errNoSteps = api.Conflict.New(
	"no motor moves the axis there: it needs [position] source = \"program\", and by_hand = false in the traverse")

// moves names what the key of a measurement moves.
func (m Measurement) moves() string { return "the axis along " + m.Subject }

// ArmSteps is the first act of a measurement whose axis a motor moves: see [Session.Arm].
func (s *Session) ArmSteps(_ context.Context, m Measurement) (api.Armed, error) {
	if err := s.steppable(m); err != nil {
		return api.Armed{}, err
	}
	return s.arm(m.moves(), *m.Steps, StepCautions(m.Subject))
}

// StartSteps is the second act: see [Session.StartMotion]. The axis moves on only once its indicator's reading at a
// place was taken, and the same things stop it that stop the arm.
func (s *Session) StartSteps(ctx context.Context, key string, m Measurement, purpose string) (int64, error) {
	if err := s.steppable(m); err != nil {
		return 0, err
	}
	w := motionSpec{*m.Steps, s.o.OpenSteps, runSpec{kind: m.Kind, setup: m.Setup, measured: &m},
		func() string { return absent(s.o.Ports[s.o.Indicators[m.Indicator].Device]) }, s.atPlaces}
	return s.startMotion(ctx, purpose, w, func() (*interlock.Permit, interlock.Bar) {
		return s.o.Interlock.Begin(key, m.moves())
	})
}

// steppable refuses a measurement that no motor can take: each place needs a target of its own, and the indicator must
// speak by itself, since its readings are what stops the axis.
func (s *Session) steppable(m Measurement) error {
	switch {
	case s.o.Measure == nil, s.o.OpenSteps == nil, m.Steps == nil, len(m.Steps.Targets) != len(m.Places),
		m.Indicator < 0 || m.Indicator >= len(s.o.Indicators), len(m.Setup.Indicators) != 1,
		len(m.Steps.Indicators) != 1:
		return errNoSteps
	case m.Typed, s.o.Indicators[m.Indicator].Device < 0, s.o.Ports[s.o.Indicators[m.Indicator].Device].Ask != nil:
		return api.Conflict.Errorf(
			"%s sends no readings by itself, so none would stop the motor: write by_hand = true there",
			m.Setup.Indicators[0].Name)
	}
	return nil
}
