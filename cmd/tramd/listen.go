package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"sort"
	"strings"
	"sync"
	"time"

	"tramd/cmd/tramd/internal/config"
	"tramd/device"
	"tramd/sweep/units"
)

type listenCmd struct {
	Port    string  `help:"/dev/serial/by-id/..., tcp://host:port or replay:FILE; with --config, which of its ports (default: the first)."`
	Baud    int     `help:"Rate of the line (115200)."`
	Line    string  `help:"Bits, parity, stop bits (8N1)."`
	Frame   string  `enum:"text,encoder," default:"" help:"text for an indicator (the default), encoder for an encoder."`
	With    string  `help:"What stands under [[indicator]], as TOML: 'binary = { layout = \"AA value\", ... }'."`
	Config  string  `help:"Take all from this configuration." type:"path"`
	All     bool    `help:"Show every read; without it a fast stream is shown in part."`
	Seconds float64 `help:"Stop after so long; without it, Ctrl-C stops."`
}

const askCaution = `Caution: this port is written to. What is written may move a machine if something else than an indicator listens there:
keep clear of whatever a motor moves, and look twice which port it is.
`

// Run shows a port until it is told to stop.
func (c *listenCmd) Run(e *env) error {
	spec, err := c.spec()
	if err != nil {
		return err
	}
	if len(spec.Asking.Asks) > 0 || len(spec.Registers) > 0 {
		fmt.Fprint(e.err, askCaution)
	}
	spec.Capture = "" // what is recorded is the daemon's business
	v := &listenView{out: e.out, all: c.All, start: device.Now()}
	spec.Tap = v.tap
	d, err := device.New(0, spec, v.sink, e.log)
	if err != nil {
		return err
	}
	v.faults = d.Status().Faults
	v.status = d.Status
	ctx, cancel := context.WithCancel(e.ctx)
	defer cancel()
	if c.Seconds > 0 {
		ctx, cancel = context.WithTimeout(ctx, time.Duration(c.Seconds*float64(time.Second)))
		defer cancel()
	}
	go func() {
		select {
		case <-ctx.Done():
		case <-d.Ended():
			time.Sleep(2 * listenFlush)
			cancel()
		}
	}()
	fmt.Fprintf(e.err, "Listening to %s, %d baud %s, frame %s. Ctrl-C stops.\n", d.Spec().Port, d.Spec().Baud, d.Spec().Line, d.Spec().Frame)
	var ticks sync.WaitGroup
	ticks.Go(func() { v.tick(ctx) })
	err = d.Run(ctx)
	cancel()
	ticks.Wait()
	if err != nil {
		return err
	}
	return v.summary(d.Status())
}

// spec gathers what is said on the command line and in a configuration.
func (c *listenCmd) spec() (device.Spec, error) {
	if c.Config != "" {
		if c.Baud != 0 || c.Line != "" || c.Frame != "" || c.With != "" {
			return device.Spec{}, usageError{errors.New("--config says all of a port; leave --baud, --line, --frame and --with out")}
		}
		return c.configured()
	}
	if c.Port == "" {
		return device.Spec{}, usageError{errors.New("write --port PORT (tramd ports lists them), or --config FILE")}
	}
	s := device.Spec{Name: "heard", Role: device.RoleIndicator, Port: c.Port, Baud: c.Baud, Line: c.Line, Frame: c.Frame}
	switch {
	case c.Frame == device.FrameEncoder:
		s.Role, s.CountsPerTurn = device.RoleAngle, 1<<40
		if c.With != "" {
			return s, usageError{errors.New("--with describes an indicator; for an encoder use --config")}
		}
	case c.With != "":
		with, err := config.Excerpt("--with", c.Port, []byte(c.With))
		if err != nil {
			return s, err
		}
		if c.Baud != 0 {
			with.Baud = c.Baud
		}
		if c.Line != "" {
			with.Line = c.Line
		}
		return with, nil
	}
	return s, nil
}

func (c *listenCmd) configured() (device.Spec, error) {
	cfg, err := config.Load(c.Config)
	if err != nil {
		return device.Spec{}, err
	}
	specs := cfg.IndicatorPorts()
	if cfg.Angle.Port != "" {
		specs = append(specs, cfg.AnglePort())
	}
	var known []string
	for _, s := range specs {
		if c.Port == "" || c.Port == s.Port || c.Port == s.Name {
			return s, nil
		}
		known = append(known, s.Port)
	}
	return device.Spec{}, usageError{fmt.Errorf("%s has no port %q; it has %s", c.Config, c.Port, strings.Join(known, ", "))}
}

const (
	listenRows  = 25                    // at most so many rows a second, for a fast stream
	listenFlush = 50 * time.Millisecond // what was read is shown at the latest after this
)

// listenView writes rows: when, the bytes, their text, and what they were read as.
type listenView struct {
	out    io.Writer
	all    bool
	start  device.Stamp
	status func() device.Status

	mu      sync.Mutex
	at      device.Stamp
	asked   bool
	raw     []byte
	read    []string
	faults  map[string]uint64
	budget  float64 // rows that may be shown
	refill  device.Stamp
	skipped int
	err     error
}

func (v *listenView) tap(at device.Stamp, p []byte, asked bool) {
	v.mu.Lock()
	defer v.mu.Unlock()
	v.flush()
	v.at, v.asked = at, asked
	v.raw = append(v.raw, p...)
}

func (v *listenView) sink(b device.Batch) {
	v.mu.Lock()
	defer v.mu.Unlock()
	for _, s := range b.Samples {
		v.read = append(v.read, sampleText(s))
	}
}

// tick shows the last read where no other follows.
func (v *listenView) tick(ctx context.Context) {
	t := time.NewTicker(listenFlush)
	defer t.Stop()
	for ctx.Err() == nil {
		select {
		case <-ctx.Done():
		case <-t.C:
		}
		v.mu.Lock()
		if device.Now()-v.at > device.Stamp(listenFlush) || ctx.Err() != nil {
			v.flush()
		}
		v.mu.Unlock()
	}
}

// flush writes what came with one read. The faults that were counted since belong to it, or to what it ended.
func (v *listenView) flush() {
	if len(v.raw) == 0 && len(v.read) == 0 {
		return
	}
	faults := v.status().Faults
	for _, reason := range sortedKeys(faults) {
		if n := faults[reason]; n > v.faults[reason] {
			v.read = append(v.read, "bad: "+reason)
			v.faults[reason] = n
		}
	}
	raw, read := v.raw, v.read
	v.raw, v.read = v.raw[:0], v.read[:0]
	if !v.afford(max(1, (len(raw)+15)/16)) {
		v.skipped++
		return
	}
	var b strings.Builder
	if v.skipped > 0 {
		fmt.Fprintf(&b, "%11s  %d reads not shown (--all shows them)\n", "", v.skipped)
		v.skipped = 0
	}
	writeRows(&b, (v.at - v.start).Seconds(), raw, v.asked, strings.Join(read, ", "))
	if _, err := io.WriteString(v.out, b.String()); err != nil && v.err == nil {
		v.err = err
	}
}

// afford says whether so many rows may be shown now.
func (v *listenView) afford(rows int) bool {
	now := device.Now()
	v.budget = min(listenRows, v.budget+listenRows*(now-v.refill).Seconds())
	v.refill = now
	if !v.all && v.budget < 1 {
		return false
	}
	v.budget -= float64(rows)
	return true
}

// writeRows sets 16 bytes a row; what they were read as stands at the last.
func writeRows(b *strings.Builder, at float64, raw []byte, asked bool, read string) {
	mark := "<"
	if asked {
		mark = ">"
	}
	for first := true; first || len(raw) > 0; first = false {
		row := raw[:min(16, len(raw))]
		raw = raw[len(row):]
		when := fmt.Sprintf("%9.3f s", at)
		if !first {
			when = ""
		}
		text := make([]byte, len(row))
		for i, c := range row {
			text[i] = '.'
			if c >= ' ' && c <= '~' {
				text[i] = c
			}
		}
		line := fmt.Sprintf("%11s %s %-47s  %-16s", when, mark, fmt.Sprintf("% X", row), text)
		if len(raw) == 0 {
			line += "  " + read
		}
		b.WriteString(strings.TrimRight(line, " ") + "\n")
	}
}

func sampleText(s device.Sample) string {
	name := ""
	if s.Channel != "" {
		name = s.Channel + " "
	}
	switch s.Kind {
	case device.Count:
		return fmt.Sprintf("%scount %d", name, s.Value)
	case device.Angle:
		return fmt.Sprintf("%s%.6g deg", name, float64(s.Value)/1e6)
	}
	return fmt.Sprintf("%s%.6g mm", name, units.Length(s.Value).MM())
}

func (v *listenView) summary(st device.Status) error {
	v.mu.Lock()
	defer v.mu.Unlock()
	took := (device.Now() - v.start).Seconds()
	line := fmt.Sprintf("%d readings in %.1f s (%.1f a second)", st.Readings, took, float64(st.Readings)/took)
	if st.Asked > 0 {
		line += fmt.Sprintf("; asked %d times, answered %d, the latest after %.1f ms", st.Asked, st.Answered, float64(st.AnswerDelay.Microseconds())/1000)
	}
	var bad []string
	for _, reason := range sortedKeys(st.Faults) {
		if n := st.Faults[reason]; n > 0 {
			bad = append(bad, fmt.Sprintf("%s %d", reason, n))
		}
	}
	if len(bad) > 0 {
		line += "; bad frames: " + strings.Join(bad, ", ")
	}
	if _, err := fmt.Fprintln(v.out, line); err != nil {
		return err
	}
	if v.err != nil {
		return v.err
	}
	if st.Readings == 0 && st.Err != "" {
		return fmt.Errorf("nothing was read: %s", st.Err)
	}
	return nil
}

func sortedKeys(m map[string]uint64) []string {
	keys := make([]string, 0, len(m))
	for k := range m {
		keys = append(keys, k)
	}
	sort.Strings(keys)
	return keys
}
