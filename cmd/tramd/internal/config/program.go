package config

import (
	"regexp"
	"time"

	"tramd/cmd/tramd/internal/motion"
	"tramd/device"
	"tramd/device/serialport"
)

// Commands are what a motion controller is sent, what it must answer, and how long it may take.
type Commands struct {
	Port    string `toml:"port"`
	Baud    int    `toml:"baud"`
	Line    string `toml:"line"`     // bits, parity, stop bits: "8N1"
	LineEnd string `toml:"line_end"` // behind each command; "\n" by default

	Begin   []string `toml:"begin"` // once, before the first move: ["G90", "G94"]
	Move    []string `toml:"move"`  // for each station: ["G1 A{deg} F{feed}", "G4 P{dwell_s}"]
	End     []string `toml:"end"`   // once, after the last
	Stop    string   `toml:"stop"`
	Retract []string `toml:"retract"` // after a stop, where that is safe; see package motion
	// a whole line by which the controller says that it has stopped, as a regular expression
	Stopped string `toml:"stopped"`
	Done    string `toml:"done"`    // a whole line that acknowledges, as a regular expression: "ok"
	Refused string `toml:"refused"` // a whole line that refuses, or tells of trouble: "error.*"

	TravelMM  []float64 `toml:"travel_mm"`   // lowest and highest reading of any indicator
	DwellS    *float64  `toml:"dwell_s"`     // between the arrival and the first reading that counts
	SettleInS float64   `toml:"settle_in_s"` // how long a reading may take to settle
	AckS      float64   `toml:"ack_s"`       // how long an acknowledgement may take beyond the move
	OpenS     *float64  `toml:"open_s"`      // quiet after opening the port
	RetractS  float64   `toml:"retract_s"`   // how long each command of the retract may take
	SilentS   float64   `toml:"silent_s"`    // an indicator that says nothing this long stops the motion
}

// Program holds the commands by which a motion controller turns the arm from station to station.
type Program struct {
	Commands
	FeedDegPerMin float64  `toml:"feed_deg_per_min"`
	LowDeg        *float64 `toml:"low_deg"` // soft limits
	HighDeg       *float64 `toml:"high_deg"`
	BothWays      *bool    `toml:"both_ways"` // there and back
	// an indicator that reads the same over so many degrees of turning stops the motion; 0: it does not
	FrozenDeg *float64 `toml:"frozen_deg"`
}

func (p *Program) setDefaults(source string) {
	if source != SourceProgram {
		return
	}
	p.Commands.setDefaults()
	if p.FeedDegPerMin == 0 {
		p.FeedDegPerMin = 180
	}
	if p.BothWays == nil {
		yes := true
		p.BothWays = &yes
	}
}

func (p *Commands) setDefaults() {
	for _, x := range []struct {
		v  *float64
		to float64
	}{{&p.SettleInS, 30}, {&p.AckS, 3}, {&p.SilentS, 2}, {&p.RetractS, 10}} {
		if *x.v == 0 {
			*x.v = x.to
		}
	}
	if dwell := 0.5; p.DwellS == nil {
		p.DwellS = &dwell
	}
	if open := 2.0; p.OpenS == nil {
		p.OpenS = &open
	}
	if p.Baud == 0 {
		p.Baud = 115200
	}
	if p.Line == "" {
		p.Line = "8N1"
	}
	if p.LineEnd == "" {
		p.LineEnd = "\n"
	}
}

// frozenDeg is over how many degrees of turning an indicator may read the same. A display of thousandths of a
// millimetre changes well within 30 degrees on any table; a coarser one may hold still over much of the circle of a
// spindle that stands true (common practice, no source).
func (p *Program) frozenDeg(resolutionMM float64) float64 {
	switch {
	case p.FrozenDeg != nil:
		return *p.FrozenDeg
	case resolutionMM <= 0.002:
		return 30
	}
	return 360
}

// targets returns the stations in the order in which the arm visits them: round, then the first again a turn further on
// where the limits allow it and the sweep closes, and then all the way back.
func (c *Config) targets() []float64 {
	out := append([]float64(nil), c.Angle.StationsDeg...)
	p := &c.Program
	if n := len(out); n > 2 && c.Angle.Closing != nil && *c.Angle.Closing && p.HighDeg != nil && p.LowDeg != nil {
		for _, d := range []float64{out[0] + 360, out[0] - 360} {
			if up := out[n-1] > out[0]; up == (d > out[0]) && d >= *p.LowDeg && d <= *p.HighDeg {
				out = append(out, d)
			}
		}
	}
	if p.BothWays != nil && *p.BothWays {
		for i := len(out) - 2; i >= 0; i-- {
			out = append(out, out[i])
		}
	}
	return out
}

// Motion returns the program; only for the source of that name.
func (c *Config) Motion() motion.Program {
	p := &c.Program
	out := p.motion()
	out.Targets, out.Feed = c.targets(), p.FeedDegPerMin
	if p.LowDeg != nil && p.HighDeg != nil {
		out.Low, out.High = *p.LowDeg, *p.HighDeg
	}
	for _, ind := range c.Indicators {
		out.Indicators = append(out.Indicators, p.watched(ind.Name, p.frozenDeg(ind.ResolutionMM)))
	}
	return out
}

// motion returns a program that lacks what it moves, and which indicators are watched.
func (p *Commands) motion() motion.Program {
	seconds := func(x float64) time.Duration { return time.Duration(x * float64(time.Second)) }
	out := motion.Program{
		Begin: p.Begin, Move: p.Move, End: p.End, Stop: p.Stop, Retract: p.Retract, LineEnd: p.LineEnd,
		Dwell: seconds(*p.DwellS), Settle: seconds(p.SettleInS), Ack: seconds(p.AckS),
		Open: seconds(*p.OpenS), Silent: seconds(p.SilentS), RetractTime: seconds(p.RetractS),
	}
	out.Done, _ = whole(p.Done) // checked when the file was read
	out.Refused, _ = whole(p.Refused)
	out.Stopped, _ = whole(p.Stopped)
	return out
}

func (p *Commands) watched(name string, frozen float64) motion.Indicator {
	t := motion.Indicator{Name: name, Frozen: frozen}
	if len(p.TravelMM) == 2 {
		t.LowMM, t.HighMM = p.TravelMM[0], p.TravelMM[1]
	}
	return t
}

// MotionPort returns the port of the motion controller.
func (p *Commands) MotionPort() device.Spec {
	return device.Spec{Name: "motion", Port: p.Port, Baud: p.Baud, Line: p.Line}
}

// whole is a regular expression for a whole line; nil for none.
func whole(text string) (*regexp.Regexp, error) {
	if text == "" {
		return nil, nil
	}
	return regexp.Compile(`^(?:` + text + `)$`)
}

func (v *validator) program(c *Config) {
	p := &c.Program
	if c.Angle.Port != "" {
		v.bad("angle.port", `source = "program" has its port in [program]; move it there`)
	}
	before := len(v.found)
	v.stations(c.Angle.StationsDeg)
	if p.LowDeg == nil || p.HighDeg == nil {
		v.bad("program.low_deg",
			"low_deg and high_deg are needed: write the spindle angles the arm may be moved between, for example 0.0 and 360.0")
	} else {
		v.number("program.low_deg", *p.LowDeg, -3600, 3600)
		v.number("program.high_deg", *p.HighDeg, -3600, 3600)
	}
	v.commands("program", c, &p.Commands)
	v.number("program.feed_deg_per_min", p.FeedDegPerMin, 1, motion.Arm.FeedMost())
	if p.FrozenDeg != nil {
		v.number("program.frozen_deg", *p.FrozenDeg, 0, 3600)
	}
	if p.LowDeg != nil && p.HighDeg != nil && len(v.found) == before {
		v.softLimits(c)
	}
	if len(v.found) == before {
		if err := c.Motion().Check(); err != nil {
			v.bad("program", "%v", err)
		}
	}
}

// commands judges what a controller is sent, in the table of that name.
func (v *validator) commands(at string, c *Config, p *Commands) {
	bad := func(key, format string, args ...any) { v.bad(at+"."+key, format, args...) }
	v.port(at+".port", p.Port)
	v.whole(at+".baud", int64(p.Baud), 50, 4_000_000)
	if err := serialport.CheckMode(p.Line); err != nil {
		bad("line", "%v", err)
	}
	for _, ind := range c.Indicators {
		if ind.Port != "" && ind.Port == p.Port {
			bad("port", "indicator %q has the same port; the motion controller needs one of its own", ind.Name)
		}
	}
	if p.LineEnd != "\n" && p.LineEnd != "\r" && p.LineEnd != "\r\n" {
		bad("line_end", `%q; write "\n", "\r" or "\r\n"`, p.LineEnd)
	}
	if len(p.TravelMM) != 2 || !(p.TravelMM[0] < p.TravelMM[1]) || !(p.TravelMM[0] >= -1000 && p.TravelMM[1] <= 1000) {
		bad("travel_mm",
			"write the lowest and the highest reading at which the motion may go on, for example travel_mm = [-2.0, 2.0]")
	}
	for key, text := range map[string]string{"done": p.Done, "refused": p.Refused, "stopped": p.Stopped} {
		if _, err := whole(text); err != nil {
			bad(key, "%q is not a regular expression: %v", text, err)
		}
	}
	if p.Done == "" {
		bad("done", `missing; write the line by which the controller acknowledges a command, for example done = "ok"`)
	}
	if p.Stop == "" {
		bad("stop",
			"missing; write the command that stops the controller at once, as its manual says. Without it nothing is moved")
	}
	switch {
	case len(p.Retract) > 0 && p.Stopped == "":
		bad("stopped",
			"missing; write the line by which the controller says that it has stopped, one that is no acknowledgement. Without it nothing is retracted")
	case len(p.Retract) > 0 && p.Stopped == p.Done:
		bad("stopped",
			"%q is what acknowledges a command too; write a line that says for sure that the controller has stopped",
			p.Stopped)
	case len(p.Retract) == 0 && p.Stopped != "":
		bad("retract",
			"missing, and stopped is for it alone; write the commands that take the arm away, or remove stopped")
	}
	v.number(at+".retract_s", p.RetractS, 1, 120)
	v.number(at+".dwell_s", *p.DwellS, 0, 60)
	v.number(at+".settle_in_s", p.SettleInS, 1, 600)
	v.number(at+".ack_s", p.AckS, 0.1, 60)
	v.number(at+".open_s", *p.OpenS, 0, 60)
	v.number(at+".silent_s", p.SilentS, 0.2, 60)
}

// softLimits wants every station between them.
func (v *validator) softLimits(c *Config) {
	low, high := *c.Program.LowDeg, *c.Program.HighDeg
	if !(low < high) {
		v.bad("program.high_deg", "%v is not above low_deg, %v; write the spindle angles the arm may be moved between",
			high, low)
		return
	}
	for _, d := range c.targets() {
		switch {
		case d < low:
			v.bad("program.low_deg",
				"the station at %v degrees lies outside the soft limits, %v to %v; write a lower limit if the arm may go there, or other stations_deg", d, low, high)
			return
		case d > high:
			v.bad("program.high_deg",
				"the station at %v degrees lies outside the soft limits, %v to %v; write a higher limit if the arm may go there, or other stations_deg", d, low, high)
			return
		}
	}
}
