package main

import (
	"tramd/cmd/tramd/internal/client"
	"tramd/cmd/tramd/internal/config"
)

type eventCmd struct {
	storeFlag
	Kind string `arg:"" enum:"adjusted,crashed,serviced,moved,note" help:"adjusted, crashed, serviced, moved or note."`
	Text string `arg:"" optional:"" help:"In a few words."`
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
