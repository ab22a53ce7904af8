package main

import (
	"fmt"

	"tramd/cmd/tramd/internal/client"
	"tramd/cmd/tramd/internal/daemon"
	"tramd/store"
	"tramd/sweep/mixed"
	"tramd/sweep/units"
)

type refitCmd struct {
	storeFlag
	IDs  []int64 `arg:"" name:"id" help:"The runs."`
	Keep bool    `help:"Store the new results beside the old ones."`
	JSON bool    `name:"json" help:"Print one JSON object a line."`
}

func (c *refitCmd) Run(e *env) error {
	way, closing, err := c.way(e)
	if err != nil {
		return err
	}
	defer closing()
	failed := false
	for _, id := range c.IDs {
		out, err := way(id)
		if err == nil {
			err = c.show(e, out)
		}
		if err != nil {
			fmt.Fprintf(e.err, "tramd: run %d: %v\n", id, err)
			failed = true
		}
	}
	if failed {
		return errShown
	}
	return nil
}

// way is through the daemon where one runs, else straight into the record.
func (c *refitCmd) way(e *env) (way func(id int64) (daemon.Refitted, error), closing func(), err error) {
	cfg, err := c.load()
	if err != nil {
		return nil, nil, err
	}
	cl := client.New(cfg.Control.Socket)
	if cl.Alive(e.ctx) {
		return func(id int64) (out daemon.Refitted, err error) {
			err = cl.Refit(e.ctx, id, c.Keep, &out)
			return out, err
		}, cl.Close, nil
	}
	cl.Close()
	open := store.OpenReadOnly
	if c.Keep {
		open = store.Open
	}
	s, err := open(e.ctx, cfg.Store.Path, store.Options{Log: e.log})
	if err != nil {
		return nil, nil, err
	}
	return func(id int64) (daemon.Refitted, error) {
		return daemon.Refit(e.ctx, s, id, c.Keep, mixed.FitWith, e.log)
	}, func() { s.Close() }, nil
}

func (c *refitCmd) show(e *env, out daemon.Refitted) error {
	if c.JSON {
		return printJSON(e.out, "run", out.Run, out.Now)
	}
	tolerance := units.Tolerance{}
	if out.Tolerance != "" {
		var err error
		if tolerance, err = units.ParseTolerance(out.Tolerance); err != nil {
			return err
		}
	}
	if out.Before != nil {
		before := fmt.Sprintf("run %d before (%s %d)", out.Run, out.Before.Model, out.Before.ModelVersion)
		if err := printResult(e.out, before, *out.Before, tolerance); err != nil {
			return err
		}
	}
	now := fmt.Sprintf("run %d now (%s %d)", out.Run, out.Now.Model, out.Now.ModelVersion)
	return printResult(e.out, now, out.Now, tolerance)
}
