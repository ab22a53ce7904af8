package daemon

import (
	"slices"
	"time"

	"tramd/cmd/tramd/internal/config"
	"tramd/cmd/tramd/internal/session"
	"tramd/device"
	"tramd/device/frame"
	"tramd/sweep"
)

// addScale returns the ports with that of a linear scale, and what it says; none where none is configured.
func addScale(cfg *config.Config, specs []device.Spec) ([]device.Spec, session.PositionRoute) {
	p := &cfg.Position
	out := session.PositionRoute{Source: p.Source, Device: -1, Delay: ms(p.DelayMS), MMPerS: p.FeedMMPerMin / 60}
	if p.Source == config.PositionScale {
		out.Device, out.Scale, out.Zeroed = len(specs), p.Scale(), p.ZeroMM != nil
		specs = append(specs, cfg.ScalePort())
	}
	return specs, out
}

// routes turns a configuration into the devices to open (one a port) and the way from each to its indicator.
func routes(cfg *config.Config) ([]device.Spec, []session.IndicatorRoute, session.AngleRoute) {
	specs := cfg.IndicatorPorts()
	var indicators []session.IndicatorRoute
	for _, ind := range cfg.Indicators {
		if ind.Port == "" { // read by a person
			indicators = append(indicators, session.IndicatorRoute{Device: -1})
			continue
		}
		at := slices.IndexFunc(specs, func(s device.Spec) bool { return s.Port == ind.Port })
		indicators = append(indicators, session.IndicatorRoute{Device: at, Channel: ind.Channel,
			Delay: ms(ind.DelayMS)})
	}
	a := cfg.Angle
	angle := session.AngleRoute{Device: -1, Delay: ms(a.DelayMS)}
	switch a.Source {
	case config.SourceEncoder:
		angle.Device = len(specs)
		angle.Encoder = sweep.EncoderOptions{
			CountsPerTurn: a.CountsPerTurn, Reversed: a.Reversed, MaxGapS: a.MaxGapMS / 1000,
			SpindleTeeth: a.SpindleTeeth, EncoderTeeth: a.EncoderTeeth, CounterBits: a.CounterBits,
			IndexDeg: a.IndexDeg, IndexToleranceDeg: a.IndexToleranceDeg,
		}
		if a.ZeroDeg != nil {
			angle.Encoder.ZeroDeg, angle.ZeroUDeg = *a.ZeroDeg, a.ZeroUDeg
		}
		angle.ZeroUnknown, angle.IndexMark = a.ZeroDeg == nil && a.IndexDeg == nil, a.IndexMark != ""
		specs = append(specs, cfg.AnglePort())
	case config.SourceProgram:
		angle.Stations = sweep.StationOptions{
			AnglesDeg: cfg.Motion().Targets, SettleS: a.SettleS, SettleMM: a.SettleMM, Resolution: coarsest(cfg),
			Indicators: len(cfg.Indicators), Told: true,
		}
	case config.SourceStations, config.SourceTyped:
		angle.TypedUnit = a.Unit()
		angle.Stations = sweep.StationOptions{
			AnglesDeg: a.StationsDeg, Closing: *a.Closing && len(a.StationsDeg) > 2, SettleS: a.SettleS,
			SettleMM:   a.SettleMM,
			Resolution: coarsest(cfg), Indicators: len(cfg.Indicators),
			Typed: a.Source == config.SourceTyped,
		}
	case config.SourceSteady:
		angle.Steady = a.Steady()
		if a.Port != "" {
			angle.Device = len(specs)
			specs = append(specs, device.Spec{Name: "index", Role: frame.RoleAngle, Port: a.Port, Baud: a.Baud,
				Frame: frame.FramePulse, IndexMark: a.IndexMark, Capture: a.Capture})
		}
	}
	if a.TriggerPort != "" {
		specs = append(specs, device.Spec{Name: "trigger", Role: frame.RoleTrigger, Port: a.TriggerPort,
			Baud: a.TriggerBaud})
	}
	return append(specs, cfg.MachinePorts()...), indicators, angle
}

// hoursFrom returns in words what counts the spindle's hours; "" where nothing does.
func hoursFrom(cfg *config.Config) string {
	switch {
	case cfg.Hours.Input != "":
		return "input " + cfg.Hours.Input
	case cfg.Hours.Modbus != nil:
		return "the machine's counter"
	}
	return ""
}

func coarsest(cfg *config.Config) float64 {
	r := 0.0
	for _, ind := range cfg.Indicators {
		r = max(r, ind.ResolutionMM)
	}
	return r
}

func ms(x float64) time.Duration { return time.Duration(x * float64(time.Millisecond)) }
