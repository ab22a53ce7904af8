package main

import (
	"fmt"
	"slices"
	"strings"

	"tramd/cmd/tramd/internal/api"
	"tramd/cmd/tramd/internal/assembly"
	"tramd/cmd/tramd/internal/client"
	"tramd/cmd/tramd/internal/tui"
)

type aimCmd struct {
	configFlag
	Of       string `arg:"" help:"The traverse, bar or square that shows the joint."`
	Adjuster string `placeholder:"NAME" help:"Which move to aim; without it the first."`
}

// Run leads through one aim. The advice comes from the record, the reading from the daemon.
func (c *aimCmd) Run(e *env) error {
	cfg, s, err := c.openRecord(e)
	if err != nil {
		return err
	}
	a, err := assembly.Advise(e.ctx, s, cfg, c.Of)
	if closed := s.Close(); err == nil {
		err = closed
	}
	if err != nil {
		return err
	}
	i := slices.IndexFunc(a.Aims, func(x api.JointAim) bool { return c.Adjuster == "" || x.Adjuster == c.Adjuster })
	switch {
	case a.Done:
		_, err := fmt.Fprintln(e.text(), a.Why)
		return err
	case len(a.Aims) == 0:
		return fmt.Errorf("there is nothing to aim at: %s", a.Why)
	case i < 0:
		var names []string
		for _, x := range a.Aims {
			names = append(names, x.Adjuster)
		}
		return usageError{fmt.Errorf("no move of %q is advised now; there are %s", c.Adjuster,
			strings.Join(names, ", "))}
	}
	for _, text := range a.Cautions {
		fmt.Fprintf(e.err, "Caution: %s\n", text)
	}
	fmt.Fprintln(
		e.err,
		"Isolate the power of spindle and axes before a hand is near them. Support what can drop before you loosen it.")
	cl := client.New(cfg.Control.Socket)
	defer cl.Close()
	return tui.Aim(e.ctx, e.out, e.units, e.in, cl, a.Aims[i])
}
