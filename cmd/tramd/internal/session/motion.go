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
	Program   motion.Program
	Planned   motion.Program // the same for unattended checks: its indicators may be allowed less
	Open      func(context.Context) (motion.Line, error)
	Interlock *interlock.Interlock // says whether the arm may be moved
}

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
		return api.Armed{}, api.Invalid.Errorf("an arming for %v; give one of up to %v", unattended, interlock.PlannedMost)
	}
	lines, stop, err := s.o.Motion.Program.Lines()
	if err != nil {
		return api.Armed{}, err
	}
	out := api.Armed{Cautions: Cautions, Commands: lines, Stop: stop, Retract: s.o.Motion.Program.Retract,
		AboutS: s.o.Motion.Program.Duration().Seconds()}
	if unattended > 0 {
		out.Until = s.o.Motion.Interlock.ArmPlanned(unattended)
	} else {
		var b interlock.Bar
		if out.Key, out.Until, b = s.o.Motion.Interlock.Arm(); b.Shut() {
			return api.Armed{}, api.Conflict.New(b.Why)
		}
	}
	s.o.Log.Info("motion armed", "until", out.Until, "unattended", unattended > 0)
	return out, nil
}

// Disarm takes every arming back. What moves by one is stopped.
func (s *Session) Disarm(context.Context) error {
	if s.o.Motion != nil {
		s.o.Motion.Interlock.Disarm()
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
	return s.startMotion(ctx, purpose, s.o.Motion.Program, func() (*interlock.Permit, interlock.Bar) {
		return s.o.Motion.Interlock.Begin(key)
	})
}

// StartArmed starts the program for a planned check, by the arming that a person made for such.
func (s *Session) StartArmed(ctx context.Context, purpose string) (int64, error) {
	if s.o.Motion == nil {
		return 0, errNoMotion
	}
	return s.startMotion(ctx, purpose, s.o.Motion.Planned, func() (*interlock.Permit, interlock.Bar) {
		return s.o.Motion.Interlock.BeginPlanned(ctx)
	})
}

func (s *Session) startMotion(ctx context.Context, purpose string, p motion.Program,
	permit func() (*interlock.Permit, interlock.Bar)) (int64, error) {
	var err error
	if e := s.ask(ctx, func() {
		switch {
		case s.job != nil:
			err = api.Conflict.Errorf("run %d is being taken; finish or abandon it first", s.job.run)
		case s.missing() != "":
			err = api.Conflict.Errorf("%s", s.missing())
		case s.o.Motion.Interlock.Input() != "":
			err = api.Conflict.Errorf("nothing is moved: %s", s.o.Motion.Interlock.Input())
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
	run, err := s.openAndBegin(ctx, purpose, p, may)
	if err != nil {
		may.End()
	}
	return run, err
}

func (s *Session) openAndBegin(ctx context.Context, purpose string, p motion.Program, may *interlock.Permit) (
	int64, error) {
	line, err := s.o.Motion.Open(ctx)
	if err != nil {
		return 0, api.Conflict.Errorf("%v", err)
	}
	run, err := s.begin(ctx, s.sweeping(), 1, purpose, func(j *job) error {
		if b := may.Bar(); b.Shut() { // opening the line, or the store, may have taken long
			return api.Conflict.New(b.Why)
		}
		return s.setOff(j, p, line, may)
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
	if s.o.Motion == nil {
		return errNoMotion
	}
	if b := s.o.Motion.Interlock.Hold(key); b.Shut() {
		return api.Conflict.New(b.Why)
	}
	return nil
}

// LetGo stops the motion of a key, or keeps it from being started.
func (s *Session) LetGo(_ context.Context, key string) error {
	if s.o.Motion == nil {
		return errNoMotion
	}
	if b := s.o.Motion.Interlock.LetGo(key); b.Shut() {
		return api.Conflict.New(b.Why)
	}
	return nil
}

// goneAway is why a motion was stopped whose terminal closed its line.
const goneAway = "the terminal that began the motion is gone, so the arm is not watched there; it was stopped"

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
