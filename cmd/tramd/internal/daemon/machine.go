package daemon

import (
	"context"
	"fmt"
	"io"
	"log/slog"
	"slices"
	"sync"
	"time"

	"tramd/cmd/tramd/internal/config"
	"tramd/cmd/tramd/internal/session"
	"tramd/device"
	"tramd/device/input"
)

// machineLines is what the machine says of itself: its input lines, and the counter of its spindle.
type machineLines struct {
	inputs []*input.Line
	meter  *hourMeter
}

func newMachineLines(cfg *config.Config, meter *hourMeter, log *slog.Logger) (*machineLines, error) {
	m := &machineLines{meter: meter}
	for _, in := range cfg.Inputs {
		l, err := input.New(in.Spec(), log)
		if err != nil {
			return nil, err
		}
		m.inputs = append(m.inputs, l)
	}
	meter.line = m.named(cfg.Hours.Input)
	return m, nil
}

// named gives the line of a name; nil where there is none.
func (m *machineLines) named(name string) *input.Line {
	i := slices.IndexFunc(m.inputs, func(l *input.Line) bool { return l.Name() == name })
	if i < 0 {
		return nil
	}
	return m.inputs[i]
}

// sink takes what a controller answered.
func (m *machineLines) sink(b device.Batch) {
	for _, s := range b.Samples {
		switch s.Kind {
		case device.Level:
			if l := m.named(s.Channel); l != nil {
				l.Feed(s.At, s.Value != 0)
			}
		case device.RunTime:
			m.meter.read(s.At, (time.Duration(s.Value) * time.Millisecond).Hours())
		}
	}
}

func (m *machineLines) run(ctx context.Context) {
	var all sync.WaitGroup
	for _, l := range m.inputs {
		all.Go(func() { l.Run(ctx) })
	}
	all.Wait()
}

// states are for the faces.
func (m *machineLines) states() (out []session.InputState) {
	now := device.Now()
	for _, l := range m.inputs {
		s := l.Status()
		out = append(out, session.InputState{Name: l.Name(), State: s.State.String(), SinceS: (now - s.Since).Seconds(), Error: s.Err})
	}
	return out
}

// idleWhyNot says why the machine is not known to be idle by its input; "" when it is. It never waits.
func idleWhyNot(l *input.Line, idle input.State) string {
	switch s := l.Status(); {
	case s.State == idle:
		return ""
	case s.State == input.Unknown && s.Err != "":
		return fmt.Sprintf("input %s is unknown: %s", l.Name(), s.Err)
	default:
		return fmt.Sprintf("input %s is %v", l.Name(), s.State)
	}
}

// unsafe gives what says why the machine may not be moved; nil where no input tells.
func (d *Daemon) unsafe() func() string {
	name, idle := d.cfg.Check.IdleInputState()
	l := d.machine.named(name)
	if l == nil {
		return nil
	}
	return func() string { return idleWhyNot(l, idle) }
}

// idleAll is idle when the input says so, and the controller that is asked. Either may be missing.
type idleAll struct {
	input    func() string
	question *idleQuestion
}

func (a idleAll) state(ctx context.Context, now time.Time) string {
	if a.input != nil {
		if why := a.input(); why != "" {
			return why
		}
	}
	if a.question == nil {
		return ""
	}
	return a.question.state(ctx, now)
}

func (a idleAll) settle() {
	if a.question != nil {
		a.question.settle()
	}
}

// idler gives what a planned check asks before it moves anything.
func (d *Daemon) idler() idler {
	a := idleAll{input: d.unsafe()}
	if d.cfg.Check.IdleAsk != "" {
		motion := d.cfg.Motion()
		a.question = &idleQuestion{ask: d.cfg.Check.IdleAsk + d.cfg.Program.LineEnd, answer: d.cfg.Check.Idle(), quiet: motion.Open, within: motion.Ack,
			open: func(ctx context.Context) (io.ReadWriteCloser, error) {
				line, err := device.OpenDialogue(ctx, d.cfg.MotionPort())
				if err != nil {
					return nil, err // never a nil *Dialogue inside an interface
				}
				return line, nil
			}}
	}
	return a
}
