// Package config reads the one TOML file that says which machine, ports and indicators exist. Decoding is strict: a key
// that is not known, a value that cannot be right or two settings that clash are refused together, each with its line
// and with what to write instead.
package config

import (
	"path/filepath"
	"time"

	"tramd/device/frame"
	"tramd/sweep"
	"tramd/sweep/units"
)

// Config is a whole configuration, defaults filled in and validated.
type Config struct {
	Machine     Machine     `toml:"machine"`
	Store       Store       `toml:"store"`
	HTTP        HTTP        `toml:"http"`
	Control     Control     `toml:"control"`
	Indicators  []Indicator `toml:"indicator"`
	Program     Program     `toml:"program"`
	Angle       Angle       `toml:"angle"`
	Position    Position    `toml:"position"`
	Sweep       Sweep       `toml:"sweep"`
	Clock       Clock       `toml:"clock"`
	Backup      Backup      `toml:"backup"`
	Check       Check       `toml:"check"`
	Alarm       Alarm       `toml:"alarm"`
	Temperature Temperature `toml:"temperature"`
	Mail        Mail        `toml:"mail"`
	MQTT        MQTT        `toml:"mqtt"`
	Display     Display     `toml:"display"`
	Adjusters   []Adjuster  `toml:"adjuster"`
	Shims       Shims       `toml:"shims"`
	Cutters     []Cutter    `toml:"cutter"`
	Inputs      []Input     `toml:"input"`
	Hours       Hours       `toml:"hours"`
	Traverses   []Traverse  `toml:"traverse"`
	Bars        []Bar       `toml:"bar"`
	Squares     []Square    `toml:"square"`
	JobSteps    []Step      `toml:"step"` // as written; see Steps

	tolerance units.Tolerance
}

// Machine is the milling machine.
type Machine struct {
	Name      string `toml:"name"`
	Tolerance string `toml:"tolerance"` // "0.02/300"; empty = no verdicts
	Surface   string `toml:"surface"`   // what is swept: "bed", "granite plate"
}

// Store is where runs are kept.
type Store struct {
	Path         string `toml:"path"`
	KeepReadings string `toml:"keep_readings"` // "400 days"; empty = for ever
}

// HTTP is the page and /metrics.
type HTTP struct {
	Listen       string   `toml:"listen"`
	Hosts        []string `toml:"hosts"`         // further names the page may be asked for by
	PasswordHash string   `toml:"password_hash"` // from `tramd password`, or credential:NAME; see Hash
	TLSCert      string   `toml:"tls_cert"`      // PEM; empty = plain HTTP
	TLSKey       string   `toml:"tls_key"`       // PEM, or credential:NAME
	// PEM; who has a certificate from it may change things without a password
	ClientCA string `toml:"client_ca"`
	// requests from this computer itself may change things without a password
	OpenLoopback bool `toml:"open_loopback"`
}

// Control is the local socket the commands speak to the daemon over.
type Control struct {
	Socket string `toml:"socket"` // default: tramd.sock beside the store
}

// Indicator is one indicator and the port its readings come from.
type Indicator struct {
	Framing
	Truth
	Name         string  `toml:"name"`
	Port         string  `toml:"port"`
	Baud         int     `toml:"baud"`
	Channel      string  `toml:"channel"` // takes only frames of this name or channel; for several on one port
	RadiusMM     float64 `toml:"radius_mm"`
	RadiusUMM    float64 `toml:"radius_u_mm" zero:"meant"`
	PhaseDeg     float64 `toml:"phase_deg" zero:"meant"`
	ResolutionMM float64 `toml:"resolution_mm"`
	MPEMM        float64 `toml:"mpe_mm" zero:"meant"`
	HysteresisMM float64 `toml:"hysteresis_mm" zero:"meant"`
	DelayMS      float64 `toml:"delay_ms" zero:"meant"` // from the moment of measuring to the arrival of the last byte
	Capture      string  `toml:"capture"`               // a file every byte of the port is also recorded to
}

// Sweep is how an attended sweep goes.
type Sweep struct {
	Turns int     `toml:"turns"`
	Both  bool    `toml:"both_ways"` // by an encoder: round, and back to where it began
	IdleS float64 `toml:"idle_s"`    // a sweep in which nothing moves this long is given up
}

func (c *Config) setDefaults() {
	c.Backup.setDefaults()
	c.Check.setDefaults()
	if c.HTTP.Listen == "" {
		c.HTTP.Listen = "127.0.0.1:9743"
	}
	if c.Control.Socket == "" && c.Store.Path != "" {
		c.Control.Socket = filepath.Join(filepath.Dir(c.Store.Path), "tramd.sock")
	}
	c.sharePorts()
	for i := range c.Indicators {
		ind := &c.Indicators[i]
		if ind.Baud == 0 {
			ind.Baud = 115200
		}
		ind.Framing.setDefaults(frame.FrameText)
		if ind.ResolutionMM == 0 {
			ind.ResolutionMM = 0.001
		}
	}
	c.adjusterDefaults()
	c.inputDefaults()
	c.assemblyDefaults()
	a := &c.Angle
	if a.Baud == 0 {
		a.Baud = 115200
	}
	c.Program.setDefaults(a.Source)
	a.Framing.setDefaults(a.plainFrame())
	a.stationDefaults()
	c.Position.setDefaults()
	if a.Closing == nil {
		yes := true
		a.Closing = &yes
	}
	if c.Sweep.Turns == 0 {
		c.Sweep.Turns = 1
	}
	if c.Sweep.IdleS == 0 {
		c.Sweep.IdleS = 300
	}
}

// Setup returns what the fit must know.
func (c *Config) Setup() sweep.Setup {
	s := sweep.Setup{
		Machine: c.Machine.Name, Tolerance: c.tolerance, Surface: c.Machine.Surface, AngleSource: c.Angle.Source,
	}
	s.Steady = c.Angle.Steady()
	if c.Angle.MarkUnknown() {
		s.Zero = &sweep.Zero{From: sweep.ZeroUnknown}
	}
	if c.Angle.ByStations() {
		s.StationsDeg = c.Angle.StationsDeg
		if c.Angle.Source == SourceProgram {
			s.StationsDeg = c.targets()
		}
	}
	for i := range c.Indicators {
		ind := &c.Indicators[i]
		out := sweep.Indicator{
			Name: ind.Name, RadiusMM: ind.RadiusMM, RadiusUMM: ind.RadiusUMM, PhaseDeg: ind.PhaseDeg,
			ResolutionMM: ind.ResolutionMM, MPEMM: ind.MPEMM, HysteresisMM: ind.HysteresisMM,
		}
		ind.fill(&out)
		s.Indicators = append(s.Indicators, out)
	}
	return s
}

// Idle gives how long a sweep may stand still.
func (s Sweep) Idle() time.Duration { return time.Duration(s.IdleS * float64(time.Second)) }

// Clock says what the machine's time of day is worth.
type Clock struct {
	// Trusted: the clock has a battery, or somebody sets it by hand where there is no network. Otherwise it counts as
	// set once the network has set it.
	Trusted bool `toml:"trusted"`
}

// Temperature says where the temperature of the machine or the shop is read; it is stored with each run.
type Temperature struct {
	// one whole number, thousandths of a degree Celsius, as the kernel gives them; empty = none
	File string `toml:"file"`
}
