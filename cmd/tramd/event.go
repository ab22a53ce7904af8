package main

import (
	"tramd/cmd/tramd/internal/client"
	"tramd/cmd/tramd/internal/config"
)

type eventCmd struct {
	storeFlag
	Kind string `arg:"" enum:"adjusted,crashed,serviced,moved,acknowledged,note,hours" help:"adjusted, crashed, serviced, moved, acknowledged (taken as it is: alarms start anew), note, or hours."`
	Text string `arg:"" optional:"" help:"In a few words; of hours, what the spindle's hour counter shows."`
}

func (c *eventCmd) Run(e *env) error {
	cfg, err := config.Load(c.Config)
	if err != nil {
		return err
	}
	cl := client.New(cfg.Control.Socket)
	defer cl.Close()
	return cl.LogEvent(e.ctx, c.Kind, c.Text)
}
