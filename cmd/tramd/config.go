package main

import (
	"fmt"

	"tramd/cmd/tramd/internal/config"
)

type configCmd struct {
	Check configCheckCmd `cmd:"" help:"Say whether a configuration is right, and what is wrong with it, by line."`
}

type configCheckCmd struct {
	File string `arg:"" help:"The configuration (TOML)."`
}

func (c *configCheckCmd) Run(e *env) error {
	cfg, err := config.Load(c.File)
	if err != nil {
		return err
	}
	_, err = fmt.Fprintf(e.out, "%s is right: machine %s, %d indicator(s), angle by %s, page on %s, socket %s\n",
		c.File, cfg.Machine.Name, len(cfg.Indicators), cfg.Angle.Source, cfg.HTTP.Listen, cfg.Control.Socket)
	return err
}
