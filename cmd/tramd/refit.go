package main

import (
	"encoding/json"
	"fmt"

	"tramd/cmd/tramd/internal/api"
	"tramd/cmd/tramd/internal/client"
	"tramd/cmd/tramd/internal/runs"
	"tramd/store"
	"tramd/sweep/mixed"
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
func (c *refitCmd) way(e *env) (way func(id int64) (api.Refitted, error), closing func(), err error) {
	cfg, err := c.load(e)
	if err != nil {
		return nil, nil, err
	}
	cl := client.New(cfg.Control.Socket)
	if cl.Alive(e.ctx) {
		return func(id int64) (api.Refitted, error) { return cl.Refit(e.ctx, id, c.Keep) }, cl.Close, nil
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
	return func(id int64) (api.Refitted, error) {
		return runs.Again(e.ctx, s, id, c.Keep, mixed.FitWith, e.log)
	}, func() { s.Close() }, nil
}

func (c *refitCmd) show(e *env, out api.Refitted) error {
	if c.JSON {
		return printJSON(e.out, "run", out.Run, out.Now)
	}
	for _, x := range []struct {
		when string
		raw  json.RawMessage
	}{{"before", out.Before}, {"now", out.Now}} {
		if len(x.raw) == 0 || string(x.raw) == "null" {
			continue
		}
		var by struct {
			Model        string
			ModelVersion int `json:"model_version"`
		}
		if err := json.Unmarshal(x.raw, &by); err != nil {
			return err
		}
		f, err := decodeFinding(out.Kind, x.raw, out.Tolerance)
		if err != nil {
			return err
		}
		if err := f.print(e.text(), fmt.Sprintf("run %d %s (%s %d)", out.Run, x.when, by.Model,
			by.ModelVersion)); err != nil {
			return err
		}
	}
	return nil
}
