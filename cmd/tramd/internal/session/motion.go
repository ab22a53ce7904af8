package session

import (
	"context"
	"errors"
	"time"

	"tramd/cmd/tramd/internal/api"
	"tramd/cmd/tramd/internal/clock"
	"tramd/cmd/tramd/internal/interlock"
	"tramd/cmd/tramd/internal/motion"
)

// Motion is a program that moves the arm from station to station, and the way to the controller that does it.
type Motion struct {
	Program motion.Program
	Planned motion.Program // the same for unattended checks: its indicators may be allowed less
	Open    OpenLine
}

// OpenLine opens the line to a motion controller.
type OpenLine func(context.Context) (motion.Line, error)

// theArm is what a key moves that was armed for a sweep.
const theArm = "the arm"

// Cautions are said before anything moves.
var Cautions = []string{
	"The arm is about to be moved by a motor. Keep hands, sleeves and tools clear of it, and stay where you reach the machine's own stop.",
	"Isolate the spindle's own power first: an arm is on it, and it must not start.",
	"Check that the arm can go all the way round, there and back, without touching a clamp, the work or a cable.",
	"Local rules and the machine's manual come first.",
}

var errNoMotion = api.Conflict.New(`this machine is not moved by a program: [angle] source is not "program"`)

// Arm is the first act: it says what will be sent and gives the key that starts it within a minute. With unattended
// above zero it arms planned checks for that long instead, and gives no key.
func (s *Session) Arm(ctx context.Context, unattended time.Duration) (api.Armed, error) {
	if s.o.Motion == nil {
		return api.Armed{}, errNoMotion
	}
	if unattended < 0 || unattended > interlock.PlannedMost {
		return api.Armed{}, api.Invalid.Errorf("an arming for %v; give one of up to %v", unattended,
			interlock.PlannedMost)
	}
	if unattended == 0 {
		return s.arm(theArm, s.o.Motion.Program, Cautions)
	}
	out, err := toBeArmed(s.o.Motion.Program, Cautions)
	if err != nil {
		return api.Armed{}, err
	}
	out.Until = s.o.Interlock.ArmPlanned(unattended)
	s.o.Log.Info("planned motion armed", "until", out.Until)
	return out, nil
}

// arm returns a key for one motion of the arm or of the axis that moves names, with the cautions to read first.
func (s *Session) arm(moves string, p motion.Program, cautions []string) (api.Armed, error) {
	out, err := toBeArmed(p, cautions)
	if err != nil {
		return api.Armed{}, err
	}
	var b interlock.Bar
	if out.Key, out.Until, b = s.o.Interlock.Arm(moves); b.Shut() {
		return api.Armed{}, api.Conflict.New(b.Why)
	}
	s.o.Log.Info("motion armed", "of", moves, "until", out.Until)
	return out, nil
}

// toBeArmed returns every command of a program with the cautions, so that a person reads both before a key is given.
func toBeArmed(p motion.Program, cautions []string) (api.Armed, error) {
	lines, stop, err := p.Lines()
	if err != nil {
		return api.Armed{}, err
	}
	return api.Armed{Cautions: cautions, Commands: lines, Stop: stop, Retract: p.Retract,
		AboutS: p.Duration().Seconds()}, nil
}

// Disarm takes every arming back. What moves by one is stopped.
func (s *Session) Disarm(context.Context) error {
	if s.o.Interlock != nil {
		s.o.Interlock.Disarm()
	}
	s.o.Log.Info("motion disarmed")
	return nil
}

// StartMotion is the second act: it starts the program with the key that arming gave. The motion goes on while its
// starter holds it: see [Session.Hold].
func (s *Session) StartMotion(ctx context.Context, key, purpose string) (int64, error) {
	if s.o.Motion == nil {
		return 0, errNoMotion
	}
	return s.startMotion(ctx, purpose, s.sweepBy(s.o.Motion.Program), func() (*interlock.Permit, interlock.Bar) {
		return s.o.Interlock.Begin(key, theArm)
	})
}

// StartArmed starts the program for a planned check, by the arming that a person made for such.
func (s *Session) StartArmed(ctx context.Context, purpose string) (int64, error) {
	if s.o.Motion == nil {
		return 0, errNoMotion
	}
	return s.startMotion(ctx, purpose, s.sweepBy(s.o.Motion.Planned), func() (*interlock.Permit, interlock.Bar) {
		return s.o.Interlock.BeginPlanned(ctx)
	})
}

// motionSpec is what a motion measures, and how it moves.
type motionSpec struct {
	program motion.Program
	open    OpenLine
	run     runSpec
	missing func() string    // says which device it needs and has not, in words, or ""
	ready   func(*job) error // makes the job ready for what comes at its stations
}

// sweepBy is of the arm.
func (s *Session) sweepBy(p motion.Program) motionSpec {
	return motionSpec{p, s.o.Motion.Open, s.sweeping(), s.missing, func(*job) error { return nil }}
}

func (s *Session) startMotion(ctx context.Context, purpose string, w motionSpec,
	permit func() (*interlock.Permit, interlock.Bar)) (int64, error) {
	var err error
	if e := s.ask(ctx, func() {
		switch {
		case s.job != nil:
			err = api.Conflict.Errorf("run %d is being taken; finish or abandon it first", s.job.run)
		case w.missing() != "":
			err = api.Conflict.Errorf("%s", w.missing())
		case s.o.Interlock.Input() != "":
			err = api.Conflict.Errorf("nothing is moved: %s", s.o.Interlock.Input())
		}
	}); e != nil {
		return 0, e
	}
	if err != nil {
		return 0, err
	}
	may, b := permit()
	if b.Shut() {
		return 0, api.Forbidden.New(b.Why)
	}
	run, err := s.openAndBegin(ctx, purpose, w, may)
	if err != nil {
		may.End()
	}
	return run, err
}

func (s *Session) openAndBegin(ctx context.Context, purpose string, w motionSpec, may *interlock.Permit) (
	int64, error) {
	line, err := w.open(ctx)
	if err != nil {
		return 0, api.Conflict.Errorf("%v", err)
	}
	run, err := s.begin(ctx, w.run, 1, purpose, func(j *job) error {
		if b := may.Bar(); b.Shut() { // opening the line, or the store, may have taken long
			return api.Conflict.New(b.Why)
		}
		if err := w.ready(j); err != nil {
			return err
		}
		return s.setOff(j, w.program, line, may)
	})
	if err != nil {
		return 0, errors.Join(err, line.Close())
	}
	return run, nil
}

// setOff has the runner begin, with the job in place and under the lock.
func (s *Session) setOff(j *job, p motion.Program, line motion.Line, may *interlock.Permit) error {
	m := &moved{permit: may}
	// An error from ask means that the session has stopped: the arm is being stopped too, and there are no readers.
	in := func(f func()) { _ = s.ask(context.Background(), f) }
	r, err := motion.NewRunner(p, clock.SinceBoot, motion.Hooks{
		Arrived: func(int) { in(func() { s.arrived(j) }) },
		Said:    func(stage motion.Stage, text string) { in(func() { s.movesOn(j, stage, text) }) },
		Ended: func(why string, asked bool) {
			may.End()
			in(func() { s.motionEnded(j, why, asked) })
		},
		Bar: func() (string, bool) {
			b := may.Bar()
			return b.Why, b.Asked
		},
	})
	if err != nil {
		return err
	}
	m.runner = r
	j.motion, j.begun, j.phase = m, true, api.PhaseTurning
	s.agree()
	s.motions.Go(func() { r.Run(s.motionCtx, line) })
	return nil
}

// Hold takes a sign of life of the owner of a key, who may begin to give them before the start. The starter of a motion
// gives one at least every [interlock.HoldFor].
func (s *Session) Hold(_ context.Context, key string) error {
	if s.o.Interlock == nil {
		return errNoMotion
	}
	if b := s.o.Interlock.Hold(key); b.Shut() {
		return api.Conflict.New(b.Why)
	}
	return nil
}

// LetGo stops the motion of a key, or keeps it from being started.
func (s *Session) LetGo(_ context.Context, key string) error {
	if s.o.Interlock == nil {
		return errNoMotion
	}
	if b := s.o.Interlock.LetGo(key); b.Shut() {
		return api.Conflict.New(b.Why)
	}
	return nil
}

// goneAway is why a motion was stopped whose terminal closed its line.
const goneAway = "the terminal that began the motion is gone, so it is not watched there; it was stopped"

// HoldMotion is Hold for a terminal, which knows the run.
func (s *Session) HoldMotion(ctx context.Context, run int64) error {
	return s.held(ctx, run, func(p *interlock.Permit) interlock.Bar { return p.Hold() })
}

// LetGoMotion says that the terminal is gone, and stops the arm. A motion that has ended is left as it is.
func (s *Session) LetGoMotion(run int64) {
	_ = s.held(context.Background(), run, func(p *interlock.Permit) interlock.Bar { // an error: there is none
		p.LetGo(goneAway)
		return interlock.Bar{}
	})
}

func (s *Session) held(ctx context.Context, run int64, do func(*interlock.Permit) interlock.Bar) error {
	var permit *interlock.Permit
	if err := s.ask(ctx, func() {
		if j := s.job; j != nil && j.run == run && j.motion != nil && !j.motion.over {
			permit = j.motion.permit
		}
	}); err != nil {
		return err
	}
	if permit == nil {
		return api.NotFound.Errorf("run %d is not moved", run)
	}
	if b := do(permit); b.Shut() {
		return api.Conflict.New(b.Why)
	}
	return nil
}
