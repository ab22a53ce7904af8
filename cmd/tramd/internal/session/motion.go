package session

import (
	"context"
	"crypto/rand"
	"errors"
	"net/http"
	"time"

	"tramd/cmd/tramd/internal/motion"
)

// Motion is a program that moves the arm from station to station, and the way to the controller that does it.
type Motion struct {
	Program motion.Program
	Open    func(context.Context) (motion.Line, error)
	Unsafe  func() (why string) // why the machine may not be moved now, "" while it may; must not wait. nil: nobody is asked
}

// Cautions are said before anything moves.
var Cautions = []string{
	"The arm is about to be moved by a motor. Keep hands, sleeves and tools clear of it, and stay where you reach the machine's own stop.",
	"Isolate the spindle's own power first: an arm is on it, and nobody may start it.",
	"Check that the arm can go all the way round, there and back, without touching a clamp, the work or a cable.",
	"Local rules and the machine's manual come first.",
}

// How long an arming holds.
const (
	attendedArming   = time.Minute
	unattendedArming = 7 * 24 * time.Hour // at most
)

// arming is the first of the two acts that motion needs. It lives in memory alone, so it does not outlive a restart.
type arming struct {
	key        string
	until      time.Time
	unattended bool
}

// Armed is what the person who arms is told.
type Armed struct {
	Key      string    `json:"key,omitempty"` // for the start, within a minute; none for an unattended arming
	Until    time.Time `json:"until"`
	Cautions []string  `json:"cautions"`
	Commands []string  `json:"commands"` // all that will be sent, in order
	Stop     string    `json:"stop"`     // what is sent when anything is wrong
	Retract  []string  `json:"retract"`  // what may be sent after that; see package motion
	AboutS   float64   `json:"about_s"`  // without the time that readings take to settle
}

var errNoMotion = &Refusal{http.StatusConflict, `this machine is not moved by a program: [angle] source is not "program"`}

// Arm is the first act: it says what will be sent and gives the key that starts it within a minute. With unattended above
// zero it arms planned checks for that long instead, and gives no key.
func (s *Session) Arm(ctx context.Context, unattended time.Duration) (Armed, error) {
	if s.o.Motion == nil {
		return Armed{}, errNoMotion
	}
	if unattended < 0 || unattended > unattendedArming {
		return Armed{}, refuse(http.StatusBadRequest, "an arming for %v; give one of up to %v", unattended, unattendedArming)
	}
	lines, stop, err := s.o.Motion.Program.Lines()
	if err != nil {
		return Armed{}, err
	}
	out := Armed{Cautions: Cautions, Commands: lines, Stop: stop, Retract: s.o.Motion.Program.Retract, AboutS: s.o.Motion.Program.Duration().Seconds()}
	err = s.ask(ctx, func() {
		a := &arming{unattended: unattended > 0, until: time.Now().Add(attendedArming)}
		if a.unattended {
			a.until = time.Now().Add(unattended)
		} else {
			a.key = rand.Text()
		}
		s.armed, out.Key, out.Until = a, a.key, a.until
	})
	if err == nil {
		s.o.Log.Info("motion armed", "until", out.Until, "unattended", unattended > 0)
	}
	return out, err
}

// Disarm takes the arming back. A program that is under way goes on; Abandon stops it.
func (s *Session) Disarm(ctx context.Context) error {
	return s.ask(ctx, func() { s.armed = nil })
}

// ArmedUntil says until when planned checks may move the arm; zero when they may not.
func (s *Session) ArmedUntil(ctx context.Context) (until time.Time, err error) {
	err = s.ask(ctx, func() {
		if a := s.armed; a != nil && a.unattended && time.Now().Before(a.until) {
			until = a.until
		}
	})
	return until, err
}

// StartMotion is the second act: it starts the program with the key that arming gave.
func (s *Session) StartMotion(ctx context.Context, key, purpose string) (int64, error) {
	return s.startMotion(ctx, purpose, false, s.byKey(key))
}

// byKey lets a start pass that has the key of an arming, which is used up by it.
func (s *Session) byKey(key string) func(*arming) error {
	return func(a *arming) error {
		switch {
		case a == nil || a.unattended || a.key != key || key == "":
			return refuse(http.StatusForbidden, "the motion is not armed with this key; arm it first")
		case time.Now().After(a.until):
			return refuse(http.StatusForbidden, "the arming has run out; arm it again")
		}
		s.armed = nil // one arming, one start
		return nil
	}
}

// StartArmed starts the program for a planned check, by the arming that a person made for such.
func (s *Session) StartArmed(ctx context.Context, purpose string) (int64, error) {
	return s.startMotion(ctx, purpose, false, func(a *arming) error {
		if a == nil || !a.unattended || time.Now().After(a.until) {
			return refuse(http.StatusForbidden, "planned checks are not armed, or the arming has run out: tramd arm")
		}
		return nil
	})
}

// RunProgram takes a planned check by the program and waits until its run has ended. When ctx ends first the arm is stopped
// and the run abandoned.
func (s *Session) RunProgram(ctx context.Context, purpose string) (run int64, err error) {
	if run, err = s.StartArmed(ctx, purpose); err != nil {
		return 0, err
	}
	look := time.NewTicker(50 * time.Millisecond)
	defer look.Stop()
	called := ctx.Done()
	for {
		select {
		case <-called:
			called, err = nil, ctx.Err()
			_ = s.Abandon(context.WithoutCancel(ctx), run) // it may have ended in this very moment
		case <-look.C:
		case <-s.ended:
			return run, errStopped
		}
		over := false
		if e := s.ask(context.WithoutCancel(ctx), func() { over = s.job == nil || s.job.run != run }); e != nil {
			return run, e
		}
		if over {
			return run, err
		}
	}
}

func (s *Session) startMotion(ctx context.Context, purpose string, held bool, may func(*arming) error) (int64, error) {
	if s.o.Motion == nil {
		return 0, errNoMotion
	}
	var err error
	if e := s.ask(ctx, func() {
		switch {
		case s.job != nil:
			err = refuse(http.StatusConflict, "run %d is being taken; finish or abandon it first", s.job.run)
		case s.missing() != "":
			err = refuse(http.StatusConflict, "%s", s.missing())
		case s.unsafe() != "":
			err = refuse(http.StatusConflict, "nothing is moved: %s", s.unsafe())
		default:
			err = may(s.armed)
		}
	}); e != nil {
		return 0, e
	}
	if err != nil {
		return 0, err
	}
	line, err := s.o.Motion.Open(ctx)
	if err != nil {
		return 0, refuse(http.StatusConflict, "%v", err)
	}
	run, err := s.begin(ctx, s.sweeping(), 1, purpose, func(j *job) error {
		if held {
			j.heldUntil = time.Now().Add(HoldFor)
		}
		return s.setOff(j, line)
	})
	if err != nil {
		return 0, errors.Join(err, line.Close())
	}
	return run, nil
}

func (s *Session) unsafe() string {
	if s.o.Motion.Unsafe == nil {
		return ""
	}
	return s.o.Motion.Unsafe()
}

// setOff has the runner begin, with the job in place and under the lock.
func (s *Session) setOff(j *job, line motion.Line) error {
	r, err := motion.NewRunner(s.o.Motion.Program, motion.Hooks{
		// An error from ask means that the session has stopped: the arm is being stopped too, and nobody is left to tell.
		Arrived: func(int) { _ = s.ask(context.Background(), func() { s.arrived(j) }) },
		Said:    func(text string) { _ = s.ask(context.Background(), func() { j.motionSays = text }) },
		Ended:   func(why string) { _ = s.ask(context.Background(), func() { s.motionEnded(j, why) }) },
		Unsafe:  s.o.Motion.Unsafe,
	})
	if err != nil {
		return err
	}
	j.motion, j.begun, j.phase = r, true, Turning
	s.motions.Go(func() { r.Run(s.motionCtx, line) })
	return nil
}

func (s *Session) arrived(j *job) {
	if s.job == j && j.phase != Fitting {
		j.stations.Arrive()
		j.movedAt = time.Now()
	}
}

// motionEnded takes the end of the program: with a reason it was stopped.
func (s *Session) motionEnded(j *job, why string) {
	switch {
	case why == "":
		s.o.Log.Info("the stepped program has ended", "run", j.run)
	case s.job == j && j.phase != Fitting:
		s.o.Log.Error("the arm was stopped", "run", j.run, "why", why)
		s.end(Failed, why)
	default:
		s.o.Log.Info("the arm was stopped", "run", j.run, "why", why)
	}
}

// motionStopPatience is how long the session waits for the arm to be stopped before it ends.
const motionStopPatience = 4 * time.Second

// stopMotions stops every program that is under way and waits for it.
func (s *Session) stopMotions() {
	s.stopMotion()
	done := make(chan struct{})
	go func() { s.motions.Wait(); close(done) }()
	select {
	case <-done:
	case <-time.After(motionStopPatience):
		s.o.Log.Error("the motion controller's line does not let go; use the machine's own stop")
	}
}
