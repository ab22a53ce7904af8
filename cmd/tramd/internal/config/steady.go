package config

import (
	"tramd/device/frame"
	"tramd/sweep"
)

// plainFrame is the frame of the angle's port where none is written.
func (a *Angle) plainFrame() string {
	if a.Source == SourceSteady {
		return frame.FramePulse
	}
	return frame.FrameEncoder
}

// Steady returns the constant turning; nil for any other source.
func (a Angle) Steady() *sweep.Steady {
	if a.Source != SourceSteady {
		return nil
	}
	mark := 0.0
	if a.MarkDeg != nil {
		mark = *a.MarkDeg
	}
	return &sweep.Steady{MarkDeg: mark, Clockwise: a.Clockwise, TurnsPerMin: a.TurnsPerMin, Pulses: max(1, a.Pulses),
		Marked: a.IndexMark != ""}
}

// MarkUnknown reports whether the place of the index pulse is not written, so that results have no direction. A person
// who marks the start is asked to do so where the arm points right.
func (a Angle) MarkUnknown() bool {
	return a.Source == SourceSteady && a.Port != "" && a.MarkDeg == nil
}

// steady checks constant turning.
func (v *validator) steady(c *Config) {
	a := &c.Angle
	if a.MarkDeg != nil {
		v.number("angle.mark_deg", *a.MarkDeg, -360, 360)
	}
	v.optional("angle.turns_per_min", a.TurnsPerMin, 0.05, 120)
	if a.Port == "" && a.TurnsPerMin == 0 {
		v.bad("angle.turns_per_min",
			"missing; write roughly how fast the spindle is turned, for example turns_per_min = 6.0, or the port of an index pulse")
	}
	v.pulses(a)
	if a.Frame != frame.FramePulse {
		v.bad("angle.frame", `%q is no index pulse; remove it (whatever comes on the port marks the turn)`, a.Frame)
	}
	if a.Port != "" {
		v.port("angle.port", a.Port)
		v.whole("angle.baud", int64(a.Baud), 50, 4_000_000)
		v.noIndicators(c, "angle.port", a.Port, "the index pulse needs a port")
		if a.TriggerPort != "" {
			v.bad("angle.trigger_port", "the index pulse on angle.port marks the turns; remove one of them")
		}
	} else if a.TriggerPort != "" {
		v.trigger(c)
	}
}

// pulsesMost is more magnets than a wheel needs; an encoder has more.
const pulsesMost = 72

// pulses checks the pulses of a turn.
func (v *validator) pulses(a *Angle) {
	switch {
	case a.Port == "" && a.Pulses != 0:
		v.bad("angle.pulses_per_turn", "there is no port they come on; write port, or remove it")
		return
	case a.Port == "" && a.IndexMark != "":
		v.bad("angle.index_mark", "there is no port it comes on; write port, or remove it")
		return
	}
	if a.Pulses != 0 {
		v.whole("angle.pulses_per_turn", int64(a.Pulses), 1, pulsesMost)
	}
	v.markWord(a.IndexMark)
	if v.told["angle.pulses_per_turn"] || v.told["angle.turns_per_min"] {
		return
	}
	// Two that come within the framer's rest would be one. A speed that is rough needs room.
	if most := FastestTurning(a.Pulses); a.IndexMark == "" && a.Port != "" && a.TurnsPerMin > most {
		v.bad("angle.turns_per_min",
			"%v with %d pulses a turn is too fast: pulses within %v count as one; write at most %.4g and turn no faster, or have each pulse send a line and one of them the word of index_mark",
			a.TurnsPerMin, max(1, a.Pulses), frame.PulseRest, most)
	}
	if a.Pulses > 1 && a.IndexMark == "" && a.TurnsPerMin == 0 {
		v.bad("angle.turns_per_min",
			"missing; with several pulses a turn write roughly how fast it turns, so that a wrong number of pulses is noticed, for example turns_per_min = 6.0")
	}
}

// FastestTurning is how many turns a minute still keep the pulses apart, with room for a speed that is known roughly.
func FastestTurning(pulses int) float64 {
	return 60 / (1.5 * frame.PulseRest.Seconds() * float64(max(1, pulses)))
}
