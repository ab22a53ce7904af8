package main

import (
	"encoding/json"
	"fmt"

	"tramd/store"
)

type restoreCmd struct {
	configFlag
	File string `arg:"" help:"The backup. It is looked through first and left as it is."`
	JSON bool   `name:"json" help:"Print one JSON object: file, record, replaced."`
}

func (c *restoreCmd) Run(e *env) error {
	cfg, err := c.load(e)
	if err != nil {
		return err
	}
	replaced, err := store.Restore(e.ctx, cfg.Store.Path, c.File)
	if err != nil {
		return err
	}
	if c.JSON {
		return json.NewEncoder(e.out).Encode(struct {
			File     string `json:"file"`
			Record   string `json:"record"`
			Replaced string `json:"replaced,omitempty"` // where what was there is kept
		}{c.File, cfg.Store.Path, replaced})
	}
	fmt.Fprintf(e.out, "%s is now the record of %s\n", c.File, cfg.Store.Path)
	if replaced != "" {
		fmt.Fprintf(e.out, "what it replaced was kept as %s\n", replaced)
	}
	_, err = fmt.Fprintln(e.out, "start the daemon again")
	return err
}
