package setup

import (
	"context"
	"fmt"
	"slices"
	"strconv"

	"tramd/cmd/tramd/internal/config"
	"tramd/device/portlist"
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
	Ports   []portlist.Port
	Find    Finder                      // nil: the person is asked for the settings of a line
	Record  func(machine string) string // where its runs might be kept
	Machine string                      // proposed name
	Hide    func() (show func())        // keeps what is typed off the screen; nil: there is none
}

// Interview asks for everything and gives the machine's name and the text of its configuration.
func Interview(ctx context.Context, a *Prompter, o Options) (name, text string, err error) {
	o.Ports = slices.DeleteFunc(slices.Clone(o.Ports), func(x portlist.Port) bool {
		if x.Console {
			a.say("%s is left out of the lists: the kernel writes its messages to it.", x.Name)
		}
		return x.Console
	})
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
		func() error { return p.askUnattended(a) },
		func() error { return p.askHours(a) },
		func() error {
			return a.ask("Database of the runs", o.Record(p.name), p.set("store.path", &p.store, nil, "control.socket"))
		},
		func() error {
			return a.ask("Address of the page (0.0.0.0:9743 shows it to the shop's network)", p.listen,
				p.set("http.listen", &p.listen, nil))
		},
		func() error { return p.askPassword(a, o.Hide) },
		func() error { return p.askAdjusters(a) },
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

// set returns what takes an answer into a place of the plan, if the rules have nothing against the key, or against what
// also hangs on it.
func (p *plan) set(key string, at *string, form func(string) (string, error), also ...string) func(string) error {
	return func(answer string) error {
		if form != nil {
			var err error
			if answer, err = form(answer); err != nil {
				return err
			}
		}
		before := *at
		*at = answer
		err := p.wrong(append(also, key)...)
		if err != nil {
			*at = before
		}
		return err
	}
}

func (p *plan) askIndicators(ctx context.Context, a *Prompter, o Options) error {
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
			if err := a.ask("Where it sits when the arm points to 0 deg, deg", "180",
				p.set(key("phase_deg"), &ind.phase, number)); err != nil {
				return err
			}
		}
		if more, err := a.yes("Another indicator", false); err != nil || !more {
			return err
		}
	}
}
