package main

import (
	"encoding/json"
	"fmt"

	"tramd/sweep"
	"tramd/sweep/mixed"
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
	var results [2]sweep.Result
	var setup sweep.Setup
	for i, id := range []int64{c.First, c.Turned} {
		r, err := s.Run(e.ctx, id)
		if err != nil {
			return err
		}
		if r.Result == nil {
			return fmt.Errorf("run %d has no result", id)
		}
		if i == 1 && r.Setup.Machine != setup.Machine {
			return fmt.Errorf("run %d is of %s and run %d of %s; take both on one machine", c.First, setup.Machine, id, r.Setup.Machine)
		}
		results[i], setup = *r.Result, r.Setup
	}
	sep, err := mixed.Reverse(results[0], results[1], setup.Tolerance)
	if err != nil {
		return err
	}
	spindle := sweep.Result{Tilt: sep.SpindleTilt, Nod: sep.SpindleNod}
	plate := sweep.Result{Tilt: sep.PlateTilt, Nod: sep.PlateNod}
	if c.JSON {
		type pair struct {
			Tilt json.RawMessage `json:"tilt"`
			Nod  json.RawMessage `json:"nod"`
		}
		out := map[string]pair{}
		for name, r := range map[string]sweep.Result{"spindle": spindle, "plate": plate} {
			text, err := json.Marshal(r)
			if err != nil {
				return err
			}
			var p pair
			if err := json.Unmarshal(text, &p); err != nil {
				return err
			}
			out[name] = p
		}
		return json.NewEncoder(e.out).Encode(out)
	}
	for _, x := range []struct {
		name string
		r    sweep.Result
	}{{"spindle against the machine", spindle}, {"plate against the machine (+: rises that way)", plate}} {
		fmt.Fprintln(e.out, x.name)
		fmt.Fprintf(e.out, "  tilt %s mm/m\n  nod  %s mm/m\n", figure(x.r.Tilt), figure(x.r.Nod))
	}
	return nil
}
