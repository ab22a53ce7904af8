package daemon

import (
	"context"
	"fmt"
	"log/slog"
	"slices"
	"sync"
	"time"

	"tramd/cmd/tramd/internal/config"
	"tramd/cmd/tramd/internal/session"
	"tramd/device"
	"tramd/device/frame"
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

// named returns the line of a name; nil where there is none.
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
		case frame.Level:
			if l := m.named(s.Channel); l != nil {
				l.Feed(s.At, s.Value != 0)
			}
		case frame.RunTime:
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
