package config

import (
	"fmt"
	"reflect"
	"strings"
	"time"

	"tramd/device"
	"tramd/device/frame"
	"tramd/device/serialport"
)

// Framing is how an instrument speaks: the framing of its characters, the layout of its frames, and what it is asked.
type Framing struct {
	Frame    string          `toml:"frame"`
	Line     string          `toml:"line"` // bits, parity, stop bits: "8N1"
	Pattern  *frame.Pattern  `toml:"pattern"`
	Digits   *frame.Digits   `toml:"digits"`
	Binary   *frame.Binary   `toml:"binary"`
	Modbus   *frame.Register `toml:"modbus"`
	Ask      string          `toml:"ask"` // what is written to it for a reading: "?\r", "hex: 3F 0D"
	EveryMS  float64         `toml:"ask_every_ms"`
	OnDemand bool            `toml:"ask_on_demand"` // only when a reading is wanted
	AnswerMS float64         `toml:"answer_ms"`     // how long an answer may take
	Sends    string          `toml:"sends"`         // always | at_times; empty: always
}

// tables returns the tables that describe a frame, by the name of the frame.
func (f *Framing) tables() map[string]interface {
	Problems(frame.Role) []frame.Problem
} {
	out := map[string]interface {
		Problems(frame.Role) []frame.Problem
	}{}
	if f.Pattern != nil {
		out[frame.FramePattern] = f.Pattern
	}
	if f.Digits != nil {
		out[frame.FrameDigits] = f.Digits
	}
	if f.Binary != nil {
		out[frame.FrameBinary] = f.Binary
	}
	if f.Modbus != nil {
		out[frame.FrameModbus] = f.Modbus
	}
	return out
}

// setDefaults takes the one table that is written for the frame meant.
func (f *Framing) setDefaults(plain string) {
	tables := f.tables()
	for name := range tables {
		if f.Frame == "" && len(tables) == 1 {
			f.Frame = name
		}
	}
	if f.Frame == "" {
		f.Frame = plain
	}
	if f.Line == "" {
		f.Line = "8N1"
	}
}

// sharePorts fills in what a further indicator of a port leaves out because the first one has said it.
func (c *Config) sharePorts() {
	for i := range c.Indicators {
		b := &c.Indicators[i]
		for j := range c.Indicators[:i] {
			a := &c.Indicators[j]
			if a.Port != b.Port {
				continue
			}
			if b.Baud == 0 {
				b.Baud = a.Baud
			}
			if b.Line == "" {
				b.Line = a.Line
			}
			if b.Frame == "" && len(b.tables()) == 0 && a.Modbus == nil {
				b.Frame, b.Pattern, b.Digits, b.Binary = a.Frame, a.Pattern, a.Digits, a.Binary
			}
			if b.Ask == "" {
				b.Ask = a.Ask
			}
			if b.EveryMS == 0 && !b.OnDemand {
				b.EveryMS, b.OnDemand = a.EveryMS, a.OnDemand
			}
			if b.AnswerMS == 0 {
				b.AnswerMS = a.AnswerMS
			}
			// An answer that does not say whose it is belongs to the one that was asked.
			for _, x := range []*Indicator{a, b} {
				if x.Channel == "" && (a.Modbus != nil || a.Ask != b.Ask) {
					x.Channel = x.Name
				}
			}
			break
		}
	}
}

// framing checks how one instrument speaks.
func (v *validator) framing(path, plain string, role frame.Role, f *Framing) {
	key := func(k string) string { return path + "." + k }
	tables := f.tables()
	own, described := tables[f.Frame]
	switch f.Frame {
	case plain:
	case frame.FramePattern, frame.FrameDigits, frame.FrameBinary, frame.FrameModbus:
		if !described {
			v.bad(key("frame"), "%q is not described; add the table [%s.%s] (device/frame/frames.md shows one)",
				f.Frame, tableOf(path), f.Frame)
		}
	default:
		v.bad(key("frame"),
			`%q is not a frame tramd knows for %s; write frame = %q, or "pattern", "digits", "binary" or "modbus" with its table`, f.Frame, article(role), plain)
	}
	for name := range tables {
		if name != f.Frame && f.Frame != "" {
			v.bad(key(name), "the frame is %q, so this is not used; remove it, or write frame = %q", f.Frame, name)
		}
	}
	if described {
		for _, p := range own.Problems(role) {
			v.bad(key(f.Frame)+"."+p.Key, "%s", p.Text)
		}
	}
	switch f.Sends {
	case "", SendsAlways, SendsAtTimes:
	default:
		v.bad(key("sends"),
			`%q; write "always", or "at_times" for one that sends only when it is moved or its button is pressed`,
			f.Sends)
	}
	if err := serialport.CheckMode(f.Line); err != nil {
		v.bad(key("line"), "%v", err)
	}
	if f.Ask != "" {
		if _, err := frame.ParseRequest(f.Ask); err != nil {
			v.bad(key("ask"), "%v", err)
		}
		if f.Modbus != nil {
			v.bad(key("ask"), "a modbus indicator has its own questions; remove it")
		}
	} else if f.Modbus == nil && (f.EveryMS != 0 || f.AnswerMS != 0 || f.OnDemand) {
		v.bad(key("ask"), `missing; write what the instrument is asked, for example ask = "?\r"`)
	}
	v.optional(key("ask_every_ms"), f.EveryMS, 1, 3_600_000)
	if f.EveryMS != 0 && f.OnDemand {
		v.bad(key("ask_every_ms"), "it is asked on demand; remove one of the two")
	}
	v.optional(key("answer_ms"), f.AnswerMS, 5, 60_000)
}

// tableOf returns the table of a path without the numbers that count tables of one name.
func tableOf(path string) string {
	var out []string
	for _, p := range strings.Split(path, ".") {
		if p == "" || p[0] < '0' || p[0] > '9' {
			out = append(out, p)
		}
	}
	return strings.Join(out, ".")
}

func article(r frame.Role) string {
	switch r {
	case frame.RoleAngle:
		return "an encoder"
	case frame.RolePosition:
		return "a scale"
	}
	return "an indicator"
}

// sharing checks that the indicators of one port say the same of it.
func (v *validator) sharing(i int, a, b *Indicator) {
	bad := func(key string, x any, other any) {
		v.bad(fmt.Sprintf("indicator.%d.%s", i, key), "%v here and %v for %q, which shares the port; write the same", x,
			other, b.Name)
	}
	if a.Baud != b.Baud {
		bad("baud", a.Baud, b.Baud)
	}
	if a.Line != b.Line {
		bad("line", a.Line, b.Line)
	}
	if a.Frame != b.Frame {
		bad("frame", a.Frame, b.Frame)
	}
	if a.EveryMS != b.EveryMS {
		bad("ask_every_ms", a.EveryMS, b.EveryMS)
	}
	if a.AnswerMS != b.AnswerMS {
		bad("answer_ms", a.AnswerMS, b.AnswerMS)
	}
	if a.OnDemand != b.OnDemand {
		bad("ask_on_demand", a.OnDemand, b.OnDemand)
	}
	if a.Sends != b.Sends {
		bad("sends", a.Sends, b.Sends)
	}
	if (a.Ask == "") != (b.Ask == "") {
		v.bad(fmt.Sprintf("indicator.%d.ask", i),
			"%q is asked and %q is not, on one port; write ask for both, or for neither", pick(a.Ask != "", a, b).Name,
			pick(a.Ask == "", a, b).Name)
	}
	for name, same := range map[string]bool{
		"pattern": reflect.DeepEqual(a.Pattern, b.Pattern),
		"digits":  reflect.DeepEqual(a.Digits, b.Digits),
		"binary":  reflect.DeepEqual(a.Binary, b.Binary),
	} {
		if !same && a.Frame == b.Frame {
			v.bad(fmt.Sprintf("indicator.%d.%s", i, name),
				"differs from that of %q, which shares the port; write the same, or leave it out here", b.Name)
		}
	}
	if (a.Channel == "" || b.Channel == "") && a.Channel != b.Channel {
		v.bad(fmt.Sprintf("indicator.%d.channel", i), "%q and %q share a port; give both a channel", a.Name, b.Name)
	}
}

func pick(first bool, a, b *Indicator) *Indicator {
	if first {
		return a
	}
	return b
}

// How an instrument sends.
const (
	SendsAlways  = "always"
	SendsAtTimes = "at_times" // only when it is moved, or its button is pressed
)

// spec returns what a device must know of how an instrument speaks. A checked request can be read.
func (f *Framing) spec(s device.Spec) device.Spec {
	s.Frame, s.Line, s.Pattern, s.Digits, s.Binary = f.Frame, f.Line, f.Pattern, f.Digits, f.Binary
	s.AtTimes = f.Sends == SendsAtTimes
	s.Asking = device.Asking{
		Every:    time.Duration(f.EveryMS * float64(time.Millisecond)),
		Answer:   time.Duration(f.AnswerMS * float64(time.Millisecond)),
		OnDemand: f.OnDemand,
	}
	return s
}

func (f *Framing) ask(s *device.Spec, channel string) {
	if f.Modbus != nil {
		r := *f.Modbus
		r.Channel = channel
		s.Registers = append(s.Registers, r)
	}
	request, err := frame.ParseRequest(f.Ask)
	if f.Ask == "" || err != nil {
		return
	}
	for i, x := range s.Asking.Asks {
		if x.Request == request { // one question for several: the answers say whose they are
			s.Asking.Asks[i].Channel = ""
			return
		}
	}
	s.Asking.Asks = append(s.Asking.Asks, frame.Ask{Request: request, Channel: channel})
}

// IndicatorPorts returns one device for each port that indicators are on, in the order in which they are written.
func (c *Config) IndicatorPorts() []device.Spec {
	var specs []device.Spec
	byPort := map[string]int{}
	for i := range c.Indicators {
		ind := &c.Indicators[i]
		if ind.Port == "" {
			continue // a person reads it
		}
		at, ok := byPort[ind.Port]
		if !ok {
			at = len(specs)
			byPort[ind.Port] = at
			specs = append(specs, ind.spec(device.Spec{
				Name: ind.Name, Role: frame.RoleIndicator, Port: ind.Port, Baud: ind.Baud, Capture: ind.Capture,
			}))
		}
		ind.ask(&specs[at], ind.Channel)
	}
	return specs
}

// AnglePort returns the device of an encoder.
func (c *Config) AnglePort() device.Spec {
	a := &c.Angle
	s := a.spec(device.Spec{
		Name: "encoder", Role: frame.RoleAngle, Port: a.Port, Baud: a.Baud,
		CountsPerTurn: a.CountsPerTurn, IndexMark: a.IndexMark, Capture: a.Capture,
	})
	a.ask(&s, "")
	return s
}
