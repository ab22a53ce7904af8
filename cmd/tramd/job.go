package main

import (
	"io"

	"tramd/cmd/tramd/internal/daemon"
)

type jobCmd struct {
	configFlag
	Out string `placeholder:"FILE.html" help:"Where to write the page; standard output without it."`
}

func (c *jobCmd) Run(e *env) error {
	cfg, s, err := c.openRecord(e)
	if err != nil {
		return err
	}
	defer s.Close()
	write := func(w io.Writer) error { return daemon.WriteJobSheet(e.ctx, w, s, cfg, version) }
	if c.Out == "" {
		return write(e.out)
	}
	return writeFile(c.Out, write)
}
