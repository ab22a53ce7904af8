package setup

import (
	"context"
	"fmt"
	"strconv"

	"tramd/cmd/tramd/internal/config"
)

var sources = []struct{ name, what string }{
	{config.SourceStations, "the arm is turned by hand to a few angles and rests there"},
	{config.SourceEncoder, "an encoder on the spindle sends counts"},
	{config.SourceSteady, "something turns the arm slowly at a constant speed"},
	{config.SourceTyped, "stations, and the dial is read by eye and typed"},
	{config.SourceProgram, "a motion controller turns the arm from station to station"},
}

func (p *plan) askSource(a *Prompter) error {
	a.say("How is the spindle angle known?")
	for i, s := range sources {
		a.say("  %d  %s: %s", i+1, s.name, s.what)
	}
	return a.ask("Number or name", sources[0].name, func(s string) error {
		for i, x := range sources {
			if s == x.name || s == strconv.Itoa(i+1) {
				p.source = x.name
				return nil
			}
		}
		return fmt.Errorf("write 1 to %d, or a name", len(sources))
	})
}

func (p *plan) askAngle(ctx context.Context, a *Prompter, o Options) error {
	switch p.source {
	case config.SourceSteady:
		return p.askSteady(a, o)
	case config.SourceEncoder:
		return p.askEncoder(ctx, a, o)
	case config.SourceProgram:
		return p.askProgram(a, o)
	default:
		return p.askStations(a)
	}
}

func (p *plan) askStations(a *Prompter) error {
	return a.ask("Stations, deg (0 right, 90 back, 180 left, 270 front)", p.stations,
		p.set("angle.stations_deg", &p.stations, numbers))
}

func angleKey(k string) string { return "angle." + k }

func (p *plan) askEncoder(ctx context.Context, a *Prompter, o Options) error {
	if err := p.askLine(ctx, a, o, "Port of the encoder", angleKey, &p.encoderPort, &p.encoderFrame,
		false); err != nil {
		return err
	}
	return a.ask("Counts of one spindle turn (360 for lines in degrees)", "",
		p.set("angle.counts_per_turn", &p.counts, number))
}

// askSteady asks for constant turning. The way round is asked for, since the wrong one would turn a lean's sign over.
func (p *plan) askSteady(a *Prompter, o Options) error {
	a.say("Never the spindle's own power: an arm is on it. Keep clear of what turns it.")
	a.say(
		"An index pulse once a turn, on a port of its own, makes the angles surer. Without one the start is marked by a key or button.")
	if err := p.askPort(a, o, "Port of the index pulse", noPort, angleKey("port"), &p.pulsePort); err != nil {
		return err
	}
	speed, usual, mark := "Turns a minute, roughly", "", "Where the arm points when the start is marked"
	if p.pulsePort != "" {
		if err := p.askBaud(a, angleKey("baud"), &p.pulseFrame); err != nil {
			return err
		}
		if err := a.ask("Pulses a turn", "1", p.set(angleKey("pulses_per_turn"), &p.pulses, number)); err != nil {
			return err
		}
		if p.pulses != "1" {
			if err := a.ask("Word in the line of the pulse that is the start mark (- if the first one of a run is it)",
				"-", p.set(angleKey("index_mark"), &p.markWord, textOrNone)); err != nil {
				return err
			}
		}
		speed, usual, mark = speed+" (- if not known)", "-", "Where the arm points at the pulse"
	}
	if err := a.ask(speed, usual, p.set(angleKey("turns_per_min"), &p.turnsPerMin, numberOrNone)); err != nil {
		return err
	}
	if err := a.ask(mark+", deg (0 right, 90 back, 180 left, 270 front)", p.mark,
		p.set(angleKey("mark_deg"), &p.mark, number)); err != nil {
		return err
	}
	var err error
	p.clockwise, err = a.yes("Does it turn clockwise, seen from above", false)
	return err
}
