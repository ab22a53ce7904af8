package main

import (
	"fmt"

	"tramd/cmd/tramd/internal/client"
	"tramd/cmd/tramd/internal/config"
)

type eventCmd struct {
	storeFlag
	Kind string             `arg:"" enum:"adjusted,crashed,serviced,moved,acknowledged,note,hours" help:"adjusted, crashed, serviced, moved, acknowledged (taken as it is: alarms start anew), note, or hours."`
	Text string             `arg:"" optional:"" help:"In a few words; of hours, what the spindle's hour counter shows."`
	Move map[string]float64 `placeholder:"NAME=BY" help:"What was moved, for adjusted: an adjuster of the configuration and its signed amount; once for each."`
}

func (c *eventCmd) Run(e *env) error {
	if len(c.Move) > 0 && c.Kind != "adjusted" {
		return usageError{fmt.Errorf("--move belongs to the kind adjusted, not to %s", c.Kind)}
	}
	cfg, err := config.Load(c.Config)
	if err != nil {
		return err
	}
	cl := client.New(cfg.Control.Socket)
	defer cl.Close()
	return cl.LogEvent(e.ctx, c.Kind, c.Text, c.Move)
}
