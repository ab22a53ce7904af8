package config

import (
	"math"

	"tramd/sweep/units"
)

// ByStations reports whether the arm is turned from station to station.
func (a Angle) ByStations() bool {
	return a.Source == SourceStations || a.Source == SourceTyped || a.Source == SourceProgram
}

func (a *Angle) stationDefaults() {
	if a.ByStations() && len(a.StationsDeg) == 0 {
		a.StationsDeg = []float64{0, 90, 180, 270}
	}
	if a.TriggerBaud == 0 {
		a.TriggerBaud = 115200
	}
	if a.TypedUnit == "" {
		a.TypedUnit = "mm"
	}
}

// Unit returns the unit of a typed reading without one.
func (a Angle) Unit() units.Length {
	u, _ := units.LengthUnit(a.TypedUnit) // checked when the file was read
	return u
}

// byHand checks the sources where a person turns the arm from station to station.
func (v *validator) byHand(c *Config) {
	a := &c.Angle
	if a.Port != "" {
		v.bad("angle.port", `source = %q needs no port; remove it, or write source = "encoder"`, a.Source)
	}
	v.stations(a.StationsDeg)
	if _, ok := units.LengthUnit(a.TypedUnit); !ok {
		v.bad("angle.typed_unit", `%q is not a unit of length; write "mm", "um", "in" or "thou"`, a.TypedUnit)
	}
	if a.TriggerPort == "" {
		return
	}
	if a.Source == SourceTyped {
		v.bad("angle.trigger_port", "typed readings are taken as they are typed; remove it")
		return
	}
	v.trigger(c)
}

func (v *validator) trigger(c *Config) {
	a := &c.Angle
	v.port("angle.trigger_port", a.TriggerPort)
	v.whole("angle.trigger_baud", int64(a.TriggerBaud), 50, 4_000_000)
	v.noIndicators(c, "angle.trigger_port", a.TriggerPort, "the trigger needs one")
}

// indicatorPort checks an indicator's port; one that a person reads has none.
func (v *validator) indicatorPort(path string, c *Config, port string) {
	if c.Angle.Source != SourceTyped {
		v.port(path, port)
	} else if port != "" {
		v.bad(path, `with source = "typed" a person reads the indicator; remove the port, or write source = "stations"`)
	}
}

func (v *validator) stations(degs []float64) {
	if len(degs) < 2 || len(degs) > 360 {
		v.bad("angle.stations_deg", "%d stations; write 2 to 360 angles in degrees, for example [0, 90, 180, 270]",
			len(degs))
		return
	}
	for i, d := range degs {
		if math.IsNaN(d) || d < -360 || d > 360 {
			v.bad("angle.stations_deg", "%v is not an angle; write degrees from -360 to 360", d)
			return
		}
		for _, e := range degs[:i] {
			if math.Abs(math.Remainder(d-e, 360)) < 1 {
				v.bad("angle.stations_deg",
					"%v and %v are the same place; write each once (the return to the first is `closing`)", e, d)
				return
			}
		}
	}
}
