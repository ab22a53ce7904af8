package main

import (
	"encoding/json"
	"fmt"

	"tramd/cmd/tramd/internal/api"
	"tramd/cmd/tramd/internal/runs"
)

type separateCmd struct {
	storeFlag
	First  int64 `arg:"" help:"The run on the plate as it lay."`
	Turned int64 `arg:"" help:"The run after the plate was turned by 180 degrees."`
	JSON   bool  `name:"json" help:"Print one JSON object."`
}

func (c *separateCmd) Run(e *env) error {
	s, err := c.open(e)
	if err != nil {
		return err
	}
	defer s.Close()
	out, err := runs.Separate(e.ctx, s, c.First, c.Turned)
	if err != nil {
		return err
	}
	if c.JSON {
		return json.NewEncoder(e.out).Encode(out)
	}
	for _, x := range []struct {
		name string
		axes api.Axes
	}{{"spindle against the machine", out.Spindle}, {"plate against the machine (+: rises that way)", out.Plate}} {
		fmt.Fprintln(e.out, x.name)
		fmt.Fprintf(e.text(), "  tilt %s mm/m\n  nod  %s mm/m\n", figure(x.axes.Tilt), figure(x.axes.Nod))
	}
	return nil
}
