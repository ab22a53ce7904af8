package daemon

import (
	"context"
	"io"
	"math"

	"tramd/cmd/tramd/internal/clock"
	"tramd/cmd/tramd/internal/config"
	"tramd/cmd/tramd/internal/inputs"
	"tramd/cmd/tramd/internal/interlock"
	"tramd/cmd/tramd/internal/motion"
	"tramd/cmd/tramd/internal/session"
	"tramd/device"
)

// newInterlock joins what says whether the arm may be moved.
func newInterlock(cfg *config.Config, m *inputs.Set) *interlock.Interlock {
	o := interlock.Options{Clock: clock.SinceBoot}
	name, idle := cfg.Check.IdleInputState()
	if l := m.Named(name); l != nil {
		o.Input = func() string { return inputs.WhyNotIdle(l, idle) }
	}
	if cfg.Angle.Source == config.SourceProgram && cfg.Check.IdleAsk != "" {
		p := cfg.Motion()
		o.Question = &interlock.Question{
			Ask: cfg.Check.IdleAsk + cfg.Program.LineEnd, Answer: cfg.Check.Idle(), Quiet: p.Open, Within: p.Ack,
			Clock: clock.SinceBoot,
			Open: func(ctx context.Context) (io.ReadWriteCloser, error) {
				return openController(ctx, &cfg.Program.Commands)
			},
		}
	}
	return interlock.New(o)
}

// motionOf gives the session its program and the way to the controller; nil where a hand turns the arm.
func motionOf(cfg *config.Config) *session.Motion {
	if cfg.Angle.Source != config.SourceProgram {
		return nil
	}
	return &session.Motion{Program: cfg.Motion(), Planned: plannedMotion(cfg),
		Open: func(ctx context.Context) (motion.Line, error) { return openController(ctx, &cfg.Program.Commands) }}
}

// stepsOf gives the session the way to the controller that moves an axis along a traverse; nil where hands do.
func stepsOf(cfg *config.Config) session.OpenLine {
	if cfg.Position.Source != config.PositionProgram {
		return nil
	}
	return func(ctx context.Context) (motion.Line, error) {
		return openController(ctx, &cfg.Position.Program.Commands)
	}
}

// plannedMotion is the program of an unattended check: its indicators are allowed no more than the check says.
func plannedMotion(cfg *config.Config) motion.Program {
	p := cfg.Motion()
	if cfg.Check.MinMM == 0 && cfg.Check.MaxMM == 0 {
		return p
	}
	for i := range p.Indicators {
		ind := &p.Indicators[i]
		ind.LowMM, ind.HighMM = math.Max(ind.LowMM, cfg.Check.MinMM), math.Min(ind.HighMM, cfg.Check.MaxMM)
	}
	return p
}

func openController(ctx context.Context, c *config.Commands) (motion.Line, error) {
	line, err := device.OpenConn(ctx, c.MotionPort())
	if err != nil {
		return nil, err // never a nil *Conn inside a Line
	}
	return line, nil
}
