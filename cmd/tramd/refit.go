package main

import (
	"fmt"

	"tramd/cmd/tramd/internal/config"
	"tramd/store"
)

type refitCmd struct {
	storeFlag
	IDs  []int64 `arg:"" name:"id" help:"The runs."`
	Keep bool    `help:"Store the new results beside the old ones. The daemon must be stopped meanwhile."`
	JSON bool    `name:"json" help:"Print one JSON object a line."`
}

func (c *refitCmd) Run(e *env) error {
	s, err := c.openFor(e)
	if err != nil {
		return err
	}
	defer s.Close()
	failed := false
	for _, id := range c.IDs {
		if err := c.refit(e, s, id); err != nil {
			fmt.Fprintf(e.err, "tramd: run %d: %v\n", id, err)
			failed = true
		}
	}
	if failed {
		return errShown
	}
	return nil
}

func (c *refitCmd) openFor(e *env) (*store.Store, error) {
	if !c.Keep {
		return c.open(e)
	}
	cfg, err := config.Load(c.Config)
	if err != nil {
		return nil, err
	}
	return store.Open(e.ctx, cfg.Store.Path, store.Options{Log: e.log})
}

func (c *refitCmd) refit(e *env, s *store.Store, id int64) error {
	r, err := s.Run(e.ctx, id)
	if err != nil {
		return err
	}
	pts, err := s.Points(e.ctx, id)
	if err != nil {
		return err
	}
	fresh, err := bestFit(pts, r.Setup)
	if err != nil {
		return err
	}
	fresh.WarnDoubts(r.Doubts)
	if c.Keep {
		if err := s.AddResult(e.ctx, id, fresh); err != nil {
			return err
		}
	}
	if c.JSON {
		return printJSON(e.out, "run", id, fresh)
	}
	if r.Result != nil {
		before := fmt.Sprintf("run %d before (%s %d)", id, r.Result.Model, r.Result.ModelVersion)
		if err := printResult(e.out, before, *r.Result, r.Setup.Tolerance); err != nil {
			return err
		}
	}
	now := fmt.Sprintf("run %d now (%s %d)", id, fresh.Model, fresh.ModelVersion)
	return printResult(e.out, now, fresh, r.Setup.Tolerance)
}
