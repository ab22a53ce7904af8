package config

import (
	"fmt"
	"math"
	"net"
	"path/filepath"
	"regexp"
	"strings"

	"tramd/device/frame"
	"tramd/sweep"
	"tramd/sweep/units"
)

// validator collects every mistake of a file with its line.
type validator struct {
	name  string
	at    lines
	found Mistakes
	told  map[string]bool // the keys they stand at
}

func (v *validator) bad(path, format string, args ...any) {
	v.told[path] = true
	v.found = append(v.found, Mistake{v.name, v.at.of(path), path + ": " + fmt.Sprintf(format, args...)})
}

var nameForm = regexp.MustCompile(`^[A-Za-z0-9][A-Za-z0-9_.-]{0,63}$`)

func (v *validator) config(c *Config) {
	v.machine(c)
	if c.Store.Path == "" {
		v.bad("store.path", `missing; write the database file, for example path = "/var/lib/tramd/tramd.db"`)
	}
	if _, port, err := net.SplitHostPort(c.HTTP.Listen); err != nil || port == "" {
		v.bad("http.listen", `%q is not an address; write host:port, for example "127.0.0.1:9743"`, c.HTTP.Listen)
	}
	v.temperature(c.Temperature)
	v.passwordHash(c.HTTP.PasswordHash)
	v.tls(c.HTTP)
	// A unix socket's address holds 108 bytes, its closing zero included (unix(7)).
	if abs, err := filepath.Abs(c.Control.Socket); err == nil && len(abs) > 107 {
		v.bad("control.socket",
			"%q is longer than the 107 bytes a socket path may have; write a shorter one, for example \"/run/tramd/tramd.sock\"", abs)
	}
	v.keepReadings(c.Store.KeepReadings)
	v.backup(c.Backup)
	v.check(c.Check, c.Angle.Source)
	v.indicators(c)
	v.angle(c)
	v.inputs(c)
	v.alarm(c)
	v.mqtt(&c.MQTT)
	v.display(c)
	v.adjusters(c)
	v.cutters(c)
	v.assembly(c)
	v.position(c)
	if c.Sweep.Both && c.Angle.Source != SourceEncoder {
		v.bad("sweep.both_ways",
			`only a sweep by an encoder goes back the way it came; remove it (a program has program.both_ways)`)
	}
	v.whole("sweep.turns", int64(c.Sweep.Turns), 1, sweep.MaxTurns)
	v.number("sweep.idle_s", c.Sweep.IdleS, 5, 86400)
}

func (v *validator) machine(c *Config) {
	if !nameForm.MatchString(c.Machine.Name) {
		v.bad("machine.name", `%q; write a name of letters, digits, ".", "_" or "-", for example name = "linnet"`,
			c.Machine.Name)
	}
	t, err := units.ParseTolerance(c.Machine.Tolerance)
	if err != nil {
		v.bad("machine.tolerance", "%v", err)
	}
	c.tolerance = t
}

func (v *validator) indicators(c *Config) {
	if len(c.Indicators) == 0 {
		v.bad("indicator", "none; add an [[indicator]] table with name, port and radius_mm")
	}
	names, places := map[string]bool{}, map[string]string{}
	for i := range c.Indicators {
		ind := &c.Indicators[i]
		key := func(k string) string { return fmt.Sprintf("indicator.%d.%s", i, k) }
		if !nameForm.MatchString(ind.Name) {
			v.bad(key("name"), `%q; write a name of letters, digits, ".", "_" or "-", for example name = "arm"`,
				ind.Name)
		} else if names[ind.Name] {
			v.bad(key("name"), "%q is taken by another indicator; give each its own name", ind.Name)
		}
		names[ind.Name] = true
		v.indicatorPort(key("port"), c, ind.Port)
		v.whole(key("baud"), int64(ind.Baud), 50, 4_000_000)
		v.framing(fmt.Sprintf("indicator.%d", i), frame.FrameText, frame.RoleIndicator, &ind.Framing)
		place := ind.Port + "\x00" + ind.Channel
		if other, ok := places[place]; ok && ind.Port != "" {
			v.bad(key("port"),
				"indicator %q has the same port and channel; give each indicator of one port its own channel", other)
		}
		places[place] = ind.Name
		if ind.RadiusMM == 0 {
			v.bad(key("radius_mm"),
				"missing; measure from the spindle axis to the contact point and write it in mm, for example radius_mm = 120.0")
		} else {
			v.number(key("radius_mm"), ind.RadiusMM, 1, 10000)
		}
		if ind.RadiusMM > 0 {
			v.number(key("radius_u_mm"), ind.RadiusUMM, 0, ind.RadiusMM/2)
		}
		v.number(key("phase_deg"), ind.PhaseDeg, -360, 360)
		v.number(key("resolution_mm"), ind.ResolutionMM, 1e-6, 1)
		v.number(key("mpe_mm"), ind.MPEMM, 0, 1)
		v.number(key("hysteresis_mm"), ind.HysteresisMM, 0, 1)
		v.truth(fmt.Sprintf("indicator.%d", i), &ind.Truth)
		v.number(key("delay_ms"), ind.DelayMS, 0, 5000)
	}
	for i := range c.Indicators {
		if c.Indicators[i].OnDemand && c.Angle.Source != SourceStations && c.Angle.Source != "" {
			v.bad(fmt.Sprintf("indicator.%d.ask_on_demand", i),
				`a person's word is for stations; write ask_every_ms, or source = "stations" in [angle]`)
		}
		for j := range c.Indicators[:i] {
			if a, b := &c.Indicators[i], &c.Indicators[j]; a.Port == b.Port {
				v.sharing(i, a, b)
			}
		}
	}
}

// noIndicators refuses a port that is an indicator's as well, for something that needs its own.
func (v *validator) noIndicators(c *Config, key, port, needs string) {
	for _, ind := range c.Indicators {
		if port != "" && ind.Port == port {
			v.bad(key, "indicator %q has the same port; %s of its own", ind.Name, needs)
		}
	}
}

func (v *validator) angle(c *Config) {
	a := &c.Angle
	switch a.Source {
	case SourceEncoder:
		v.port("angle.port", a.Port)
		v.whole("angle.baud", int64(a.Baud), 50, 4_000_000)
		v.framing("angle", frame.FrameEncoder, frame.RoleAngle, &a.Framing)
		if a.CountsPerTurn == 0 {
			v.bad("angle.counts_per_turn",
				"missing; write the counts of one spindle turn, for example counts_per_turn = 4096 (for lines in degrees write 360)")
		} else {
			v.whole("angle.counts_per_turn", a.CountsPerTurn, 4, 1<<40)
		}
		v.encoder(a)
		v.noIndicators(c, "angle.port", a.Port, "the encoder needs a port")
	case SourceStations, SourceTyped:
		v.byHand(c)
	case SourceSteady:
		v.steady(c)
	case SourceProgram:
		v.program(c)
	case "":
		v.bad("angle.source", `missing; write source = "encoder", "stations", "typed", "steady" or "program"`)
	default:
		v.bad("angle.source",
			`%q is not an angle source tramd knows; write "encoder", "stations", "typed", "steady" or "program"`,
			a.Source)
	}
	if a.ZeroDeg != nil {
		v.number("angle.zero_deg", *a.ZeroDeg, -360, 360)
	}
	v.number("angle.zero_u_deg", a.ZeroUDeg, 0, 45)
	if a.ZeroUDeg > 0 && a.ZeroDeg == nil {
		v.bad("angle.zero_u_deg", "there is no zero_deg that it belongs to; write that, or remove it")
	}
	v.number("angle.delay_ms", a.DelayMS, 0, 5000)
	v.optional("angle.max_gap_ms", a.MaxGapMS, 1, 10000)
	v.optional("angle.settle_s", a.SettleS, 0.05, 60)
	v.optional("angle.settle_mm", a.SettleMM, 0.0001, 1)
}

func (v *validator) port(path, port string) {
	switch {
	case port == "":
		v.bad(
			path,
			`missing; write the adapter's stable name, for example port = "/dev/serial/by-id/..." (or tcp://host:port)`)
	case strings.HasPrefix(port, "tcp://"):
		if host, p, err := net.SplitHostPort(strings.TrimPrefix(port, "tcp://")); err != nil || host == "" || p == "" {
			v.bad(path, "%q is not an address; write tcp://host:port", port)
		}
	case strings.HasPrefix(port, "replay:"):
		if port == "replay:" {
			v.bad(path, "names no capture file; write replay:FILE")
		}
	case !strings.HasPrefix(port, "/"):
		v.bad(path, "%q is not a full path; write it from the root, for example \"/dev/serial/by-id/...\"", port)
	}
}

func (v *validator) number(path string, x, lo, hi float64) {
	if math.IsNaN(x) || x < lo || x > hi {
		v.bad(path, "%v is out of range; write a number from %v to %v", x, lo, hi)
	}
}

// optional is number for a key that need not be written.
func (v *validator) optional(path string, x, lo, hi float64) {
	if x != 0 {
		v.number(path, x, lo, hi)
	}
}

func (v *validator) whole(path string, x, lo, hi int64) {
	if x < lo || x > hi {
		v.bad(path, "%d is out of range; write a whole number from %d to %d", x, lo, hi)
	}
}

func (v *validator) temperature(t Temperature) {
	if t.File != "" && !filepath.IsAbs(t.File) {
		v.bad("temperature.file",
			`%q; write the whole path, for example "/sys/bus/w1/devices/28-000001/temperature" of a 1-wire sensor on the machine`, t.File)
	}
}
