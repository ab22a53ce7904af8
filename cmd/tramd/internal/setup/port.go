package setup

import (
	"context"
	"errors"
	"fmt"
	"strconv"
	"strings"

	"tramd/device/portlist"
)

// noPort is what is written for a port where there need be none.
const noPort = "none"

// freePort proposes a port that nothing was given yet.
func (p *plan) freePort(o Options) string {
	for i, x := range o.Ports {
		if !strings.Contains(p.text(), quote(x.Name)) {
			return strconv.Itoa(i + 1)
		}
	}
	return ""
}

// askPort asks for a port; where noPort is usual there need be none.
func (p *plan) askPort(a *Prompter, o Options, question, usual, key string, port *string) error {
	if len(o.Ports) == 0 {
		a.say("No serial port is there now; write the name it will have, or tcp://host:port.")
	}
	for i, x := range o.Ports {
		a.say("  %d  %s%s", i+1, x.Name, about(x))
	}
	question += ", number or name"
	optional := usual == noPort
	if optional {
		question += ", or " + noPort
	}
	return a.ask(question, usual, func(s string) error {
		if optional && s == noPort {
			s = ""
		}
		if n, err := strconv.Atoi(s); err == nil {
			if n < 1 || n > len(o.Ports) {
				return fmt.Errorf("there is no port %d in the list", n)
			}
			s = o.Ports[n-1].Name
		}
		return p.set(key, port, nil)(s)
	})
}

func (p *plan) askBaud(a *Prompter, key string, frame *string) error {
	return a.ask("Baud rate", "115200", func(s string) error {
		n, err := strconv.Atoi(s)
		if err != nil {
			return errors.New("write a whole number, for example 9600")
		}
		return p.set(key, frame, nil)(fmt.Sprintf("baud = %d\n", n))
	})
}

// askLine asks for a port and for how the instrument behind it speaks.
func (p *plan) askLine(ctx context.Context, a *Prompter, o Options, question string, key func(string) string, port,
	frame *string, find bool) error {
	if err := p.askPort(a, o, question, p.freePort(o), key("port"), port); err != nil {
		return err
	}
	if find && o.Find != nil {
		if done, err := p.find(ctx, a, o, *port, frame); err != nil || done {
			return err
		}
	}
	return p.askBaud(a, key("baud"), frame)
}

// find listens to the port, if the person agrees, and takes what it found. A port that was listened to already is
// known.
func (p *plan) find(ctx context.Context, a *Prompter, o Options, port string, frame *string) (bool, error) {
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
		a.say(
			"  What came, if anything, tells nothing. `tramd listen` shows it; the settings can be corrected in the file later.")
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
func (p *plan) next(a *Prompter, f *Found, keys string, frame *string) bool {
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
func about(p portlist.Port) string {
	s := ""
	if u := p.USB; u != nil {
		s = "  (" + strings.TrimSpace(u.Manufacturer+" "+u.Model) + ")"
	}
	for _, x := range p.OpenBy {
		s += fmt.Sprintf("; in use by %s (pid %d)", x.Name, x.PID)
	}
	for _, n := range p.Notes {
		if n.Code == "twin" {
			s += "; " + n.Text
		}
	}
	return s
}
