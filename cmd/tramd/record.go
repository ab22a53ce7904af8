package main

import (
	"context"
	"fmt"
	"sort"
	"strings"
	"time"

	"tramd/device"
	"tramd/device/frame"
)

type recordCmd struct {
	Port    string  `required:"" placeholder:"PORT" help:"/dev/serial/by-id/... or tcp://host:port."`
	Baud    int     `default:"115200" help:"Rate of the line."`
	Frame   string  `enum:"text,encoder" default:"text" help:"text for an indicator, encoder for an encoder."`
	Seconds float64 `placeholder:"S" help:"Stop after so long; without it, Ctrl-C stops."`
	File    string  `arg:"" help:"The capture file; an earlier capture is continued."`
}

func (c *recordCmd) Run(e *env) error {
	role := frame.RoleIndicator
	if c.Frame == "encoder" {
		role = frame.RoleAngle
	}
	spec := device.Spec{Name: "recorded", Role: role, Port: c.Port, Baud: c.Baud, Frame: c.Frame, Capture: c.File}
	d, err := device.New(0, spec, func(device.Batch) {}, e.log)
	if err != nil {
		return err
	}
	ctx := e.ctx
	if c.Seconds > 0 {
		var cancel context.CancelFunc
		ctx, cancel = context.WithTimeout(ctx, time.Duration(c.Seconds*float64(time.Second)))
		defer cancel()
	}
	fmt.Fprintf(e.err, "Recording %s to %s. Ctrl-C stops.\n", c.Port, c.File)
	if err := d.Run(ctx); err != nil && ctx.Err() == nil {
		return err
	}
	st := d.Status()
	var bad []string
	for reason, n := range st.Faults {
		if n > 0 {
			bad = append(bad, fmt.Sprintf("%s %d", reason, n))
		}
	}
	sort.Strings(bad)
	line := fmt.Sprintf("%d readings", st.Readings)
	if len(bad) > 0 {
		line += "; bad lines: " + strings.Join(bad, ", ")
	}
	if _, err := fmt.Fprintln(e.out, line); err != nil {
		return err
	}
	if st.Readings == 0 {
		if st.Err != "" {
			return fmt.Errorf("nothing was read: %s", st.Err)
		}
		return fmt.Errorf("nothing was read")
	}
	return nil
}
