package main

import (
	"fmt"

	"tramd/cmd/tramd/internal/config"
)

type configCmd struct {
	Check configCheckCmd `cmd:"" help:"Say whether a configuration is right, and what is wrong with it, by line."`
}

type configCheckCmd struct {
	configFlag
	File string `arg:"" optional:"" help:"The configuration (TOML); the same as --config."`
}

func (c *configCheckCmd) Run(e *env) error {
	if c.File != "" {
		if c.Config != "" && c.Config != c.File {
			return usageError{fmt.Errorf("%s and --config=%s are two files; name one", c.File, c.Config)}
		}
		c.Config = c.File
	}
	path, err := c.path()
	if err != nil {
		return err
	}
	cfg, err := config.Load(path)
	if err != nil {
		return err
	}
	_, err = fmt.Fprintf(e.out, "%s is right: machine %s, %d indicator(s), angle by %s, page on %s, socket %s\n",
		path, cfg.Machine.Name, len(cfg.Indicators), cfg.Angle.Source, cfg.HTTP.Listen, cfg.Control.Socket)
	return err
}
