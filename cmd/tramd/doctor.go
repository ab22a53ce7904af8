package main

import (
	"encoding/json"
	"fmt"
	"io"
	"strings"

	"tramd/cmd/tramd/internal/doctor"
)

type doctorCmd struct {
	Config string `placeholder:"FILE" help:"Look at what this configuration names too: ports, disk, record, daemon."`
	JSON   bool   `name:"json" help:"Print one JSON object a line."`
}

// Run says what is wrong and how to cure it; the status is 1 when something is.
func (c *doctorCmd) Run(e *env) error {
	return c.tell(e, doctor.Examine(e.ctx, doctor.This(), c.Config))
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
