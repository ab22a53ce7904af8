package setup

import (
	"context"
	"errors"
	"fmt"
	"strconv"
	"strings"

	"tramd/cmd/tramd/internal/config"
	"tramd/device/adapters"
)

// Found is what listening to a port found out.
type Found struct {
	Keys     string   // the lines of the indicator's table that read it
	Channels []string // by which several indicators on the port are told apart
	Notes    []string // what to know about them

	given int // channels that have their indicator
}

// Finder listens to a port; nil when what came tells nothing.
type Finder func(ctx context.Context, port string) (*Found, error)

// Options are what an interview goes by.
type Options struct {
	Ports   []adapters.Port
	Find    Finder                      // nil: the person is asked for the settings of a line
	Record  func(machine string) string // where its runs might be kept
	Machine string                      // proposed name
}

// Interview asks for everything and gives the machine's name and the text of its configuration.
func Interview(ctx context.Context, a *Asker, o Options) (name, text string, err error) {
	p := newPlan()
	p.indicators = []indicator{newIndicator("/dev/indicator")}
	for _, step := range []func() error{
		func() error {
			return a.ask("Name of the machine", o.Machine, p.set("machine.name", &p.name, nil))
		},
		func() error {
			return a.ask("Tolerance, mm over mm (- for none)", "0.02/300", func(s string) error {
				if s == "-" {
					s = ""
				}
				return p.set("machine.tolerance", &p.tolerance, nil)(s)
			})
		},
		func() error { return p.askSource(a) },
		func() error { return p.askIndicators(ctx, a, o) },
		func() error { return p.askAngle(ctx, a, o) },
		func() error {
			return a.ask("Database of the runs", o.Record(p.name), p.set("store.path", &p.store, nil))
		},
		func() error {
			return a.ask("Address of the page (0.0.0.0:9743 shows it to the shop's network)", p.listen, p.set("http.listen", &p.listen, nil))
		},
	} {
		if err := step(); err != nil {
			return "", "", err
		}
	}
	text = p.text()
	if _, err := config.Parse("the configuration", []byte(text)); err != nil {
		return "", "", err
	}
	return p.name, text, nil
}

// set gives what takes an answer into a place of the plan, if the rules let it.
func (p *plan) set(key string, at *string, form func(string) (string, error)) func(string) error {
	return func(answer string) error {
		if form != nil {
			var err error
			if answer, err = form(answer); err != nil {
				return err
			}
		}
		before := *at
		*at = answer
		err := p.wrong(key)
		if err != nil {
			*at = before
		}
		return err
	}
}

var sources = []struct{ name, what string }{
	{config.SourceStations, "the arm is turned by hand to a few angles and rests there"},
	{config.SourceEncoder, "an encoder on the spindle sends counts"},
	{config.SourceSteady, "something turns the arm slowly at a constant speed"},
	{config.SourceTyped, "stations, and the dial is read by eye and typed"},
}

func (p *plan) askSource(a *Asker) error {
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

func (p *plan) askIndicators(ctx context.Context, a *Asker, o Options) error {
	for i := 0; ; i++ {
		key := func(k string) string { return fmt.Sprintf("indicator.%d.%s", i, k) }
		if i > 0 {
			p.indicators = append(p.indicators, newIndicator("/dev/indicator-"+strconv.Itoa(i)))
			p.indicators[i].name = "indicator-" + strconv.Itoa(i+1)
		}
		ind := &p.indicators[i]
		if err := a.ask("Name of the indicator", ind.name, p.set(key("name"), &ind.name, nil)); err != nil {
			return err
		}
		if p.source != config.SourceTyped {
			if err := p.askLine(ctx, a, o, "Port of "+ind.name, key, &ind.port, &ind.frame, true); err != nil {
				return err
			}
		}
		for _, q := range []struct {
			question, usual, key string
			at                   *string
		}{
			{"Radius from the spindle axis to the contact point, mm", "", "radius_mm", &ind.radius},
			{"How sure is that (standard uncertainty), mm", "0.5", "radius_u_mm", &ind.radiusU},
			{"Smallest step of the indicator, mm", "0.001", "resolution_mm", &ind.resolution},
		} {
			if err := a.ask(q.question, q.usual, p.set(key(q.key), q.at, number)); err != nil {
				return err
			}
		}
		if i > 0 {
			if err := a.ask("Where it sits when the arm points to 0 deg, deg", "180", p.set(key("phase_deg"), &ind.phase, number)); err != nil {
				return err
			}
		}
		if more, err := a.yes("Another indicator", false); err != nil || !more {
			return err
		}
	}
}

func (p *plan) askAngle(ctx context.Context, a *Asker, o Options) error {
	switch p.source {
	case config.SourceSteady:
		a.say("Never the spindle's own power: an arm is on it. An index pulse on a port of its own makes the angles surer; the file can say so later.")
		return a.ask("Turns a minute, roughly", "", p.set("angle.turns_per_min", &p.turnsPerMin, number))
	case config.SourceEncoder:
	default:
		return a.ask("Stations, deg (0 right, 90 back, 180 left, 270 front)", p.stations, p.set("angle.stations_deg", &p.stations, numbers))
	}
	key := func(k string) string { return "angle." + k }
	if err := p.askLine(ctx, a, o, "Port of the encoder", key, &p.encoderPort, &p.encoderFrame, false); err != nil {
		return err
	}
	return a.ask("Counts of one spindle turn (360 for lines in degrees)", "", p.set("angle.counts_per_turn", &p.counts, number))
}

// askLine asks for a port and for how the instrument behind it speaks.
func (p *plan) askLine(ctx context.Context, a *Asker, o Options, question string, key func(string) string, port, frame *string, find bool) error {
	if len(o.Ports) == 0 {
		a.say("No serial port is there now; write the name it will have, or tcp://host:port.")
	}
	for i, x := range o.Ports {
		a.say("  %d  %s%s", i+1, x.Name, about(x))
	}
	usual := ""
	for i, x := range o.Ports {
		if usual == "" && !strings.Contains(p.text(), quote(x.Name)) {
			usual = strconv.Itoa(i + 1)
		}
	}
	err := a.ask(question+", number or name", usual, func(s string) error {
		if n, err := strconv.Atoi(s); err == nil {
			if n < 1 || n > len(o.Ports) {
				return fmt.Errorf("there is no port %d in the list", n)
			}
			s = o.Ports[n-1].Name
		}
		return p.set(key("port"), port, nil)(s)
	})
	if err != nil {
		return err
	}
	if find && o.Find != nil {
		if done, err := p.find(ctx, a, o, *port, frame); err != nil || done {
			return err
		}
	}
	return a.ask("Baud rate", "115200", func(s string) error {
		n, err := strconv.Atoi(s)
		if err != nil {
			return errors.New("write a whole number, for example 9600")
		}
		return p.set(key("baud"), frame, nil)(fmt.Sprintf("baud = %d\n", n))
	})
}

// find listens to the port, if the person agrees, and takes what it found. A port that was listened to already is known.
func (p *plan) find(ctx context.Context, a *Asker, o Options, port string, frame *string) (bool, error) {
	if f := p.heard[port]; f != nil {
		return p.next(a, f, "", frame), nil
	}
	listen, err := a.yes("Listen to it now to find its settings? It must be on and sending", true)
	if err != nil || !listen {
		return false, err
	}
	f, err := o.Find(ctx, port)
	switch {
	case ctx.Err() != nil:
		return false, ctx.Err()
	case err != nil:
		a.say("  %v", err)
		return false, nil
	case f == nil:
		a.say("  What came, if anything, tells nothing. `tramd listen` shows it; the settings can be corrected in the file later.")
		return false, nil
	}
	a.say("  Found:\n    %s", strings.ReplaceAll(strings.TrimSpace(f.Keys), "\n", "\n    "))
	for _, n := range f.Notes {
		a.say("  note: %s", n)
	}
	p.heard[port] = f
	return p.next(a, f, f.Keys, frame), nil
}

// next gives an indicator the next channel of its port that has none yet. Only the first of a port says how it speaks.
func (p *plan) next(a *Asker, f *Found, keys string, frame *string) bool {
	if len(f.Channels) == 0 {
		*frame = keys
		return keys != ""
	}
	if f.given == len(f.Channels) {
		a.say("  Each channel that was heard on it has its indicator already.")
		return false
	}
	channel := f.Channels[f.given]
	f.given++
	*frame = "channel = " + quote(channel) + "\n" + keys
	if len(f.Channels) > 1 {
		a.say("  This is channel %q of %s.", channel, strings.Join(f.Channels, ", "))
	}
	return true
}

// about says in a few words what a port is, and what speaks against it.
func about(p adapters.Port) string {
	s := ""
	if u := p.USB; u != nil {
		s = "  (" + strings.TrimSpace(u.Manufacturer+" "+u.Model) + ")"
	}
	for _, x := range p.OpenBy {
		s += fmt.Sprintf("; in use by %s (pid %d)", x.Name, x.PID)
	}
	for _, n := range p.Notes {
		if n.Code == "console" || n.Code == "twin" {
			s += "; " + n.Text
		}
	}
	return s
}
