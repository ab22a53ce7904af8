package main

import (
	"encoding/json"
	"fmt"

	"tramd/cmd/tramd/internal/config"
)

type configCmd struct {
	Check configCheckCmd `cmd:"" help:"Say whether a configuration is right, and what is wrong with it, by line."`
}

type configCheckCmd struct {
	configFlag
	File string `arg:"" optional:"" help:"The configuration (TOML); the same as --config."`
	JSON bool   `name:"json" help:"Print one JSON object: file, right, and what it says or what is wrong."`
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
	if c.JSON {
		return c.tell(e, path, cfg, err)
	}
	if err != nil {
		return err
	}
	_, err = fmt.Fprintf(e.out, "%s is right: machine %s, %d indicator(s), angle by %s, page on %s, socket %s\n",
		path, cfg.Machine.Name, len(cfg.Indicators), cfg.Angle.Source, cfg.HTTP.Listen, cfg.Control.Socket)
	return err
}

// tell says the same for a program.
func (c *configCheckCmd) tell(e *env, path string, cfg *config.Config, wrong error) error {
	out := struct {
		File       string `json:"file"`
		Right      bool   `json:"right"`
		Error      string `json:"error,omitempty"` // every mistake, with its line and its cure
		Machine    string `json:"machine,omitempty"`
		Indicators int    `json:"indicators,omitempty"`
		Angle      string `json:"angle,omitempty"`
		Page       string `json:"page,omitempty"`
		Socket     string `json:"socket,omitempty"`
	}{File: path, Right: wrong == nil}
	if wrong != nil {
		out.Error = wrong.Error()
	} else {
		out.Machine, out.Indicators, out.Angle = cfg.Machine.Name, len(cfg.Indicators), cfg.Angle.Source
		out.Page, out.Socket = cfg.HTTP.Listen, cfg.Control.Socket
	}
	if err := json.NewEncoder(e.out).Encode(out); err != nil {
		return err
	}
	if wrong != nil {
		return errShown
	}
	return nil
}
