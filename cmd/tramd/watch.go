package main

import (
	"context"
	"encoding/json"
	"errors"

	"tramd/cmd/tramd/internal/api"
	"tramd/cmd/tramd/internal/client"
	"tramd/cmd/tramd/internal/tui"
)

type watchCmd struct {
	configFlag
	Once  bool `help:"Show the present state once and end."`
	JSON  bool `name:"json" help:"Print each new state as a JSON object on a line, as /api/v1/live sends it; with --once the present one."`
	Moved bool `name:"bar-moved" help:"First say that the bar of a pair of indicators was moved, or one of them touched: their zero counts no longer."`
}

// Run shows the present state until Ctrl-C.
func (c *watchCmd) Run(e *env) error {
	cfg, err := c.load(e)
	if err != nil {
		return err
	}
	cl := client.New(cfg.Control.Socket)
	defer cl.Close()
	if c.Moved {
		if err := cl.ForgetPair(e.ctx); err != nil {
			return err
		}
	}
	if c.JSON {
		return c.states(e, cl)
	}
	return tui.Watch(e.ctx, e.out, e.units, cl, c.Once)
}

// states prints each state on a line until Ctrl-C, or the first alone. It ends when the daemon does.
func (c *watchCmd) states(e *env, cl *client.Client) error {
	out := json.NewEncoder(e.out)
	var failed error
	err := cl.Live(e.ctx, func(snap *api.Snapshot) bool {
		failed = out.Encode(snap)
		return failed == nil && !c.Once
	})
	switch {
	case failed != nil:
		return failed
	case errors.Is(err, context.Canceled):
		return nil
	}
	return err
}
