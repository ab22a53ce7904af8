package config

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"tramd/device"
	"tramd/device/frame"
	"tramd/device/input"
	"tramd/device/serialport"
)

// Input is one line of the machine that is on or off.
type Input struct {
	Name       string          `toml:"name"`
	Source     string          `toml:"source"` // file | modem | modbus
	File       string          `toml:"file"`   // says 0 or 1
	Port       string          `toml:"port"`   // of a modem line, or of a controller that is asked
	Baud       int             `toml:"baud"`
	Line       string          `toml:"line"`   // bits, parity, stop bits: "8N1"
	Signal     string          `toml:"signal"` // CTS | DSR | DCD | RI
	Modbus     *frame.Register `toml:"modbus"`
	ActiveLow  bool            `toml:"active_low"`
	DebounceMS *float64        `toml:"debounce_ms"`
	EveryMS    float64         `toml:"every_ms"`
	StaleS     float64         `toml:"stale_s"`
}

// Hours says where the spindle's hours come from; empty = they are typed.
type Hours struct {
	Input   string          `toml:"input"` // the name of one that is on while the spindle runs
	Port    string          `toml:"port"`  // of a controller whose counter is asked for
	Baud    int             `toml:"baud"`
	Line    string          `toml:"line"`
	Modbus  *frame.Register `toml:"modbus"`
	AskEach float64         `toml:"ask_every_s"`
}

// Counted reports whether anything counts them.
func (h Hours) Counted() bool { return h.Input != "" || h.Modbus != nil }

// CounterChannel is the channel by which a port's samples are those of the counter; no input can have the name.
const CounterChannel = "hours counter"

func (c *Config) inputDefaults() {
	wire := func(baud *int, line *string) {
		if *baud == 0 {
			*baud = 115200
		}
		if *line == "" {
			*line = "8N1"
		}
	}
	for i := range c.Inputs {
		in := &c.Inputs[i]
		if in.Modbus != nil {
			if in.Source == "" {
				in.Source = input.SourceModbus
			}
			if in.Modbus.Type == "" {
				in.Modbus.Type = "bit"
			}
		}
		wire(&in.Baud, &in.Line)
		if in.DebounceMS == nil {
			ms := 50.0
			in.DebounceMS = &ms
		}
		if in.EveryMS == 0 {
			in.EveryMS = 100
		}
		if in.StaleS == 0 {
			in.StaleS = 2
		}
	}
	if c.Hours.Modbus != nil {
		wire(&c.Hours.Baud, &c.Hours.Line)
		if c.Hours.AskEach == 0 {
			c.Hours.AskEach = 60
		}
	}
}

// Spec returns what the line must know.
func (in Input) Spec() input.Spec {
	ms := func(x float64) time.Duration { return time.Duration(x * float64(time.Millisecond)) }
	return input.Spec{Name: in.Name, Source: in.Source, File: in.File, Port: in.Port, Signal: in.Signal,
		ActiveLow: in.ActiveLow,
		Debounce:  ms(*in.DebounceMS), Every: ms(in.EveryMS), Stale: ms(1000 * in.StaleS)}
}

// InputSpecs returns what the input lines must know.
func (c *Config) InputSpecs() (specs []input.Spec) {
	for _, in := range c.Inputs {
		specs = append(specs, in.Spec())
	}
	return specs
}

// MachinePorts returns one device for each port on which the machine is asked about itself.
func (c *Config) MachinePorts() []device.Spec {
	var specs []device.Spec
	ask := func(name, port string, baud int, line string, r frame.Register, channel string, every time.Duration) {
		i := slices.IndexFunc(specs, func(s device.Spec) bool { return s.Port == port })
		if i < 0 {
			i = len(specs)
			specs = append(specs, device.Spec{Name: name, Role: frame.RoleMachine, Port: port, Baud: baud, Line: line,
				Frame:  frame.FrameModbus,
				Asking: device.Asking{Every: every}})
		}
		s := &specs[i]
		r.Channel = channel
		s.Registers = append(s.Registers, r)
		s.Asking.Every = min(s.Asking.Every, every)
	}
	for _, in := range c.Inputs {
		if in.Source == input.SourceModbus {
			ask(in.Name, in.Port, in.Baud, in.Line, *in.Modbus, in.Name, in.Spec().Every)
		}
	}
	if h := c.Hours; h.Modbus != nil {
		ask("hours", h.Port, h.Baud, h.Line, *h.Modbus, CounterChannel, time.Duration(h.AskEach*float64(time.Second)))
	}
	for i := range specs { // in turn, each at the pace of the fastest
		s := &specs[i]
		s.Asking.Every /= time.Duration(len(s.Registers))
		s.StaleAfter = max(2*time.Second, 3*s.Asking.Every)
	}
	return specs
}

// HoursStep is the hours of one count of the machine's counter; 0 where none is read.
func (c *Config) HoursStep() float64 {
	if c.Hours.Modbus == nil {
		return 0
	}
	return c.Hours.Modbus.CountTime().Hours()
}

// IdleInputState returns the line that says whether the machine does nothing, and what it is then; "" where none is
// named.
func (c Check) IdleInputState() (name string, idle input.State) {
	if c.IdleState == "on" {
		return c.IdleInput, input.On
	}
	return c.IdleInput, input.Off
}

func (v *validator) inputs(c *Config) {
	taken := map[string]string{"angle": "the angle's port", "encoder": "the encoder", "index": "the index pulse",
		"trigger": "the foot switch",
		"motion":  "the motion controller", "hours": "the hours' port", CounterChannel: "the hours' counter"}
	for _, ind := range c.Indicators {
		taken[ind.Name] = "an indicator"
	}
	asked := map[string]string{} // port: its line
	modems := map[string]bool{}
	for i := range c.Inputs {
		in := &c.Inputs[i]
		key := func(k string) string { return fmt.Sprintf("input.%d.%s", i, k) }
		switch other := taken[in.Name]; {
		case !nameForm.MatchString(in.Name):
			v.bad(key("name"), `%q; write a name of letters, digits, ".", "_" or "-", for example name = "spindle"`,
				in.Name)
		case other != "":
			v.bad(key("name"), "%q is the name of %s; write another", in.Name, other)
		}
		taken[in.Name] = "another input"
		v.number(key("debounce_ms"), *in.DebounceMS, 0, 10_000)
		v.number(key("every_ms"), in.EveryMS, 10, 60_000)
		v.number(key("stale_s"), in.StaleS, 0.1, 600)
		if in.StaleS*1000 < 2*in.EveryMS && !v.told[key("every_ms")] && !v.told[key("stale_s")] {
			v.bad(key("stale_s"), "%v s; it is read each %v ms, so write twice as long at least", in.StaleS, in.EveryMS)
		}
		uses := map[string]bool{"file": in.File != "", "port": in.Port != "", "signal": in.Signal != "",
			"modbus": in.Modbus != nil}
		var needs []string
		switch in.Source {
		case input.SourceFile:
			needs = []string{"file"}
			if !strings.HasPrefix(in.File, "/") {
				v.bad(key("file"),
					`%q; write the whole path of a file that says 0 or 1, for example "/sys/class/gpio/gpio529/value"`,
					in.File)
			}
		case input.SourceModem:
			needs = []string{"port", "signal"}
			if !slices.Contains(input.SignalNames, in.Signal) {
				v.bad(key("signal"), `%q; write "CTS", "DSR", "DCD" or "RI"`, in.Signal)
			}
			if !strings.HasPrefix(in.Port, "/") {
				v.bad(key("port"), `%q; write the adapter's stable name, for example port = "/dev/serial/by-id/..."`,
					in.Port)
			}
			v.freePort(key("port"), c, in.Port)
			if _, other := asked[in.Port]; in.Port != "" && (modems[in.Port] || other) {
				v.bad(key("port"), "another input has the same port; a modem line needs an adapter of its own")
			}
			modems[in.Port] = true
		case input.SourceModbus:
			needs = []string{"port", "modbus"}
			v.askedPort(fmt.Sprintf("input.%d", i), c, in.Port, in.Baud, in.Line, in.Modbus, asked, modems)
			if in.Modbus != nil && in.Modbus.Type != "bit" {
				v.bad(key("modbus.type"), `%q; an input is one bit: write "bit", or leave it out`, in.Modbus.Type)
			}
		default:
			v.bad(key("source"),
				`%q; write "file", "modem" (a line beside a serial adapter's data) or "modbus" (a bit that a controller is asked for)`, in.Source)
			continue
		}
		for k, used := range uses {
			if used && !slices.Contains(needs, k) {
				v.bad(key(k), "is not for source = %q; remove it", in.Source)
			}
		}
	}
	v.hours(c, asked, modems)
	v.idleInput(c)
}

// askedPort checks a port on which the machine is asked; several may share it.
func (v *validator) askedPort(path string, c *Config, port string, baud int, line string, r *frame.Register,
	asked map[string]string, modems map[string]bool) {
	key := func(k string) string { return path + "." + k }
	v.port(key("port"), port)
	v.freePort(key("port"), c, port)
	v.whole(key("baud"), int64(baud), 50, 4_000_000)
	if err := serialport.CheckMode(line); err != nil {
		v.bad(key("line"), "%v", err)
	}
	if modems[port] {
		v.bad(key("port"), "an input's modem line is on the same port; give each its own adapter")
	}
	if r == nil {
		v.bad(key("modbus"),
			"missing; write what is asked for, for example modbus = { address = 1, function = 2, register = 0 }")
		return
	}
	for _, p := range r.Problems(frame.RoleMachine) {
		v.bad(key("modbus")+"."+p.Key, "%s", p.Text)
	}
	settings := fmt.Sprintf("%d baud, %s", baud, line)
	if other, ok := asked[port]; ok && port != "" && other != settings {
		v.bad(key("baud"), "%s here and %s elsewhere for the same port; write the same", settings, other)
	}
	asked[port] = settings
}

// freePort refuses a port that something else is on.
func (v *validator) freePort(path string, c *Config, port string) {
	for _, ind := range c.Indicators {
		if port != "" && ind.Port == port {
			v.bad(path, "indicator %q has the same port; the machine needs one of its own", ind.Name)
			return
		}
	}
	for what, other := range map[string]string{"the angle": c.Angle.Port, "the foot switch": c.Angle.TriggerPort,
		"the motion controller": c.Program.Port} {
		if port != "" && other == port {
			v.bad(path, "%s has the same port; the machine needs one of its own", what)
		}
	}
}

func (c *Config) hasInput(name string) bool {
	return slices.ContainsFunc(c.Inputs, func(in Input) bool { return in.Name == name })
}

func (v *validator) hours(c *Config, asked map[string]string, modems map[string]bool) {
	h := &c.Hours
	switch {
	case h.Input != "" && (h.Modbus != nil || h.Port != ""):
		v.bad("hours.input", "clashes with modbus; write one of the two")
	case h.Input != "" && !c.hasInput(h.Input):
		v.bad("hours.input", "there is no [[input]] of the name %q; add it, one that is on while the spindle runs",
			h.Input)
	case h.Input != "":
	case h.Modbus != nil || h.Port != "":
		v.askedPort("hours", c, h.Port, h.Baud, h.Line, h.Modbus, asked, modems)
		v.number("hours.ask_every_s", h.AskEach, 1, 3600)
		if h.Modbus != nil && h.Modbus.Type == "bit" {
			v.bad("hours.modbus.type",
				`"bit" is no counter; write "uint16", "uint32" or another number, or make it an [[input]] and name it here`)
		}
	case h.Baud != 0 || h.Line != "" || h.AskEach != 0:
		v.bad("hours.modbus",
			"missing; write what is asked for, or input for a signal that is on while the spindle runs")
	}
}

func (v *validator) idleInput(c *Config) {
	k := &c.Check
	if k.IdleInput == "" {
		if k.IdleState != "" {
			v.bad("check.idle_input", "missing; write the name of the [[input]] that idle_state is of")
		}
		return
	}
	if c.Angle.Source != SourceProgram {
		v.bad("check.idle_input", `is for [angle] source = "program" only, where something is moved; remove it`)
	}
	if !c.hasInput(k.IdleInput) {
		v.bad("check.idle_input", "there is no [[input]] of the name %q; add it", k.IdleInput)
	}
	if k.IdleState != "on" && k.IdleState != "off" {
		v.bad("check.idle_state",
			`%q; write "on" or "off": what the input is while the machine does nothing. "on" is safer, since a wire that breaks then stops the arm`, k.IdleState)
	}
}
