// Package inputs holds the machine's input lines together: what a controller answers reaches the line of its name, and
// the daemon asks for their states.
package inputs

import (
	"context"
	"fmt"
	"log/slog"
	"slices"
	"sync"

	"tramd/cmd/tramd/internal/api"
	"tramd/device"
	"tramd/device/frame"
	"tramd/device/input"
)

// Set is the input lines of a machine.
type Set struct{ lines []*input.Line }

// New opens nothing yet; Run reads the lines.
func New(specs []input.Spec, log *slog.Logger) (*Set, error) {
	m := &Set{}
	for _, spec := range specs {
		l, err := input.New(spec, log)
		if err != nil {
			return nil, err
		}
		m.lines = append(m.lines, l)
	}
	return m, nil
}

// Named returns the line of a name; nil where there is none.
func (m *Set) Named(name string) *input.Line {
	i := slices.IndexFunc(m.lines, func(l *input.Line) bool { return l.Name() == name })
	if i < 0 {
		return nil
	}
	return m.lines[i]
}

// Sink feeds the lines that a controller answers for.
func (m *Set) Sink(b device.Batch) {
	for _, s := range b.Samples {
		if s.Kind != frame.Level {
			continue
		}
		if l := m.Named(s.Channel); l != nil {
			l.Feed(s.At, s.Value != 0)
		}
	}
}

// Run reads the lines until ctx ends.
func (m *Set) Run(ctx context.Context) {
	var all sync.WaitGroup
	for _, l := range m.lines {
		all.Go(func() { l.Run(ctx) })
	}
	all.Wait()
}

// States returns how the lines stand, for the snapshot.
func (m *Set) States() (out []api.InputState) {
	now := device.Now()
	for _, l := range m.lines {
		s := l.Status()
		out = append(out, api.InputState{Name: l.Name(), State: s.State.String(), SinceS: (now - s.Since).Seconds(),
			Error: s.Err})
	}
	return out
}

// WhyNotIdle returns why a line does not show that the machine is idle; "" where it does. It never waits.
func WhyNotIdle(l *input.Line, idle input.State) string {
	switch s := l.Status(); {
	case s.State == idle:
		return ""
	case s.State == input.Unknown && s.Err != "":
		return fmt.Sprintf("input %s is unknown: %s", l.Name(), s.Err)
	default:
		return fmt.Sprintf("input %s is %v", l.Name(), s.State)
	}
}
