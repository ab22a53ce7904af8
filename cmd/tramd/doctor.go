package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"strings"

	"tramd/cmd/tramd/internal/doctor"
)

type doctorCmd struct {
	configFlag
	JSON bool `name:"json" help:"Print one JSON object a line."`
}

// Run prints what is wrong with its cure; the status is 1 when something is. Without a configuration it examines the
// computer alone.
func (c *doctorCmd) Run(e *env) error {
	path, err := c.path()
	if err != nil && !errors.Is(err, errNoConfig) {
		return err
	}
	return c.tell(e, doctor.Examine(e.ctx, doctor.This(), path))
}

func (c *doctorCmd) tell(e *env, found []doctor.Finding) error {
	var b strings.Builder
	wrong := false
	for _, f := range found {
		wrong = wrong || f.Status == doctor.Wrong
		if c.JSON {
			line, err := json.Marshal(f)
			if err != nil {
				return err
			}
			fmt.Fprintf(&b, "%s\n", line)
			continue
		}
		fmt.Fprintf(&b, "%-8s %s: %s\n", f.Status, f.Check, strings.ReplaceAll(f.Text, "\n", "\n         "))
		if f.Cure != "" {
			fmt.Fprintf(&b, "         cure: %s\n", f.Cure)
		}
	}
	if _, err := io.WriteString(e.out, b.String()); err != nil {
		return err
	}
	if wrong {
		return errShown
	}
	return nil
}
