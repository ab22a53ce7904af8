package main

import (
	"encoding/json"
	"fmt"
	"io"
	"strings"

	"tramd/device/portlist"
)

type portsCmd struct {
	JSON bool `name:"json" help:"Print one JSON object a line."`

	roots portlist.Roots // tests look at a made-up machine
}

// Run lists the ports without opening one, so that a measurement under way is not disturbed.
func (c *portsCmd) Run(e *env) error {
	ports, err := portlist.List(c.roots)
	if err != nil {
		return err
	}
	if c.JSON {
		out := json.NewEncoder(e.out)
		for _, p := range ports {
			if err := out.Encode(p); err != nil {
				return err
			}
		}
		return nil
	}
	if len(ports) == 0 {
		_, err := fmt.Fprintln(e.out,
			"No serial port is there. Plug an adapter in; if it does not show, `sudo dmesg` says what the kernel made of it.")
		return err
	}
	var b strings.Builder
	for _, p := range ports {
		describePort(&b, p)
	}
	_, err = io.WriteString(e.out, b.String())
	return err
}

func describePort(b *strings.Builder, p portlist.Port) {
	fmt.Fprintf(b, "%s\n  now %s", p.Name, p.Node)
	if u := p.USB; u != nil {
		fmt.Fprintf(b, ", USB %s:%s", u.Vendor, u.Product)
		if said := strings.TrimSpace(u.Manufacturer + " " + u.Model); said != "" {
			fmt.Fprintf(b, " (%s)", said)
		}
		if u.Serial != "" {
			fmt.Fprintf(b, ", serial number %s", u.Serial)
		}
		if u.Interface != "" {
			fmt.Fprintf(b, ", interface %s", u.Interface)
		}
		fmt.Fprintf(b, ", at %s", u.Path)
	} else {
		b.WriteString(", a port of this computer's own")
	}
	if p.Driver != "" {
		fmt.Fprintf(b, ", driver %s", p.Driver)
	}
	if p.LatencyMS != nil {
		fmt.Fprintf(b, ", latency timer %d ms", *p.LatencyMS)
	}
	b.WriteString("\n")
	for _, x := range p.OpenBy {
		fmt.Fprintf(b, "  open by %s (pid %d)\n", x.Name, x.PID)
	}
	if len(p.OpenBy) == 0 && p.Hidden > 0 {
		fmt.Fprintf(b, "  no program seen that has it open; %d processes are hidden (sudo tramd ports sees all)\n",
			p.Hidden)
	}
	for _, n := range p.Notes {
		fmt.Fprintf(b, "  note: %s [%s]\n", n.Text, n.Code)
	}
}
