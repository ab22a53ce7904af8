package config

import (
	"tramd/device"
	"tramd/sweep"
)

// plainFrame is the frame of the angle's port where none is written.
func (a *Angle) plainFrame() string {
	if a.Source == SourceSteady {
		return device.FramePulse
	}
	return device.FrameEncoder
}

// Steady gives the constant turning; nil for any other source.
func (a Angle) Steady() *sweep.Steady {
	if a.Source != SourceSteady {
		return nil
	}
	return &sweep.Steady{MarkDeg: a.MarkDeg, Clockwise: a.Clockwise, TurnsPerMin: a.TurnsPerMin}
}

// steady checks constant turning.
func (v *validator) steady(c *Config) {
	a := &c.Angle
	v.number("angle.mark_deg", a.MarkDeg, -360, 360)
	v.optional("angle.turns_per_min", a.TurnsPerMin, 0.05, 120)
	if a.Port == "" && a.TurnsPerMin == 0 {
		v.bad("angle.turns_per_min", "missing; write roughly how fast the spindle is turned, for example turns_per_min = 6.0, or the port of an index pulse once a turn")
	}
	if a.Frame != device.FramePulse {
		v.bad("angle.frame", `%q is no index pulse; remove it (whatever comes on the port marks the turn)`, a.Frame)
	}
	if a.Port != "" {
		v.port("angle.port", a.Port)
		v.whole("angle.baud", int64(a.Baud), 50, 4_000_000)
		for _, ind := range c.Indicators {
			if ind.Port == a.Port {
				v.bad("angle.port", "indicator %q has the same port; the index pulse needs a port of its own", ind.Name)
			}
		}
		if a.TriggerPort != "" {
			v.bad("angle.trigger_port", "the index pulse on angle.port marks the turns; remove one of them")
		}
	} else if a.TriggerPort != "" {
		v.trigger(c)
	}
}
