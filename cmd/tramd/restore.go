package main

import (
	"fmt"

	"tramd/store"
)

type restoreCmd struct {
	configFlag
	File string `arg:"" help:"The backup. It is looked through first and left as it is."`
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
	fmt.Fprintf(e.out, "%s is now the record of %s\n", c.File, cfg.Store.Path)
	if replaced != "" {
		fmt.Fprintf(e.out, "what it replaced was kept as %s\n", replaced)
	}
	_, err = fmt.Fprintln(e.out, "start the daemon again")
	return err
}
