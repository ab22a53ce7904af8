package main

import (
	"errors"
	"fmt"
	"strings"
	"time"

	"tramd/cmd/tramd/internal/config"
	"tramd/cmd/tramd/internal/tui"
	"tramd/device"
	"tramd/device/frame"
	"tramd/device/input"
)

type listenCmd struct {
	Where   string  `arg:"" optional:"" name:"at" placeholder:"PORT" help:"The port; the same as --port."`
	Port    string  `placeholder:"PORT" help:"/dev/serial/by-id/..., tcp://host:port or replay:FILE; with --config, which of its ports, or the name of an input (default: the first port)."`
	Baud    int     `placeholder:"BAUD" help:"Rate of the line (115200)."`
	Line    string  `placeholder:"8N1" help:"Bits, parity, stop bits (8N1)."`
	Frame   string  `enum:"text,encoder," default:"" help:"text for an indicator (the default), encoder for an encoder."`
	With    string  `placeholder:"TOML" help:"What stands under [[indicator]], as TOML: 'binary = { layout = \"AA value\", ... }'."`
	Config  string  `placeholder:"FILE" help:"Take all from this configuration." type:"path"`
	All     bool    `help:"Show every read; without it a fast stream is shown in part."`
	Seconds float64 `placeholder:"S" help:"Stop after so long; without it, Ctrl-C stops."`
	JSON    bool    `name:"json" help:"Print a JSON object a line for every read, and one for the sum at the end."`
}

const askCaution = `Caution: this port is written to. What is written may move a machine if something else than an indicator listens there:
keep clear of whatever a motor moves, and look twice which port it is.
`

// Run shows a port until a signal stops it.
func (c *listenCmd) Run(e *env) error {
	if c.Where != "" {
		if c.Port != "" && c.Port != c.Where {
			return usageError{fmt.Errorf("%s and --port=%s are two ports; name one", c.Where, c.Port)}
		}
		c.Port = c.Where
	}
	how := tui.Listening{All: c.All, JSON: c.JSON, Seconds: c.Seconds}
	in, err := c.input()
	switch {
	case err != nil:
		return err
	case in != nil:
		return tui.WatchInput(e.ctx, e.out, e.err, *in, how, e.log)
	}
	spec, err := c.spec()
	if err != nil {
		return err
	}
	if len(spec.Asking.Asks) > 0 || len(spec.Registers) > 0 {
		fmt.Fprint(e.err, askCaution)
	}
	if spec.Asking.OnDemand { // there is no station to take here
		spec.Asking.OnDemand, spec.Asking.Every = false, time.Second
	}
	return tui.Listen(e.ctx, e.out, e.err, spec, how, e.log)
}

// spec gathers what is said on the command line and in a configuration.
func (c *listenCmd) spec() (device.Spec, error) {
	if c.Config != "" {
		if c.Baud != 0 || c.Line != "" || c.Frame != "" || c.With != "" {
			return device.Spec{}, usageError{
				errors.New("--config says all of a port; leave --baud, --line, --frame and --with out")}
		}
		return c.configured()
	}
	if c.Port == "" {
		return device.Spec{}, usageError{errors.New("write --port PORT (tramd ports lists them), or --config FILE")}
	}
	s := device.Spec{Name: "heard", Role: frame.RoleIndicator, Port: c.Port, Baud: c.Baud, Line: c.Line, Frame: c.Frame}
	switch {
	case c.Frame == frame.FrameEncoder:
		s.Role, s.CountsPerTurn = frame.RoleAngle, 1<<40
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
	if cfg.Position.Port != "" {
		specs = append(specs, cfg.ScalePort())
	}
	if cfg.Angle.Port != "" {
		specs = append(specs, cfg.AnglePort())
	}
	specs = append(specs, cfg.MachinePorts()...)
	var known []string
	for _, s := range specs {
		if c.Port == "" || c.Port == s.Port || c.Port == s.Name {
			return s, nil
		}
		known = append(known, s.Port)
	}
	return device.Spec{}, usageError{fmt.Errorf("%s has no port %q; it has %s", c.Config, c.Port,
		strings.Join(known, ", "))}
}

// input returns the input line that is to be listened to; nil where it is a port. One over Modbus is a port's.
func (c *listenCmd) input() (*input.Spec, error) {
	if c.Config == "" || c.Port == "" {
		return nil, nil
	}
	cfg, err := config.Load(c.Config)
	if err != nil {
		return nil, err
	}
	for _, in := range cfg.Inputs {
		if in.Name == c.Port && in.Source != input.SourceModbus {
			s := in.Spec()
			return &s, nil
		}
	}
	return nil, nil
}
