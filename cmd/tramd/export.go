package main

import (
	"encoding/json"

	"tramd/cmd/tramd/internal/daemon"
	"tramd/store"
	"tramd/sweep"
)

type exportCmd struct {
	storeFlag
	ID   int64 `arg:"" help:"The run."`
	JSON bool  `name:"json" help:"Run, setup, result and readings as one JSON object instead of CSV."`
}

func (c *exportCmd) Run(e *env) error {
	return c.withRun(e, c.ID, func(s *store.Store, r store.Run) error { return c.export(e, s, r) })
}

func (c *exportCmd) export(e *env, s *store.Store, r store.Run) error {
	pts, err := s.Points(e.ctx, c.ID)
	if err != nil {
		return err
	}
	if !c.JSON {
		return daemon.WriteCSV(e.out, r.Setup, pts)
	}
	type reading struct {
		T         float64  `json:"t_s"`
		Deg       *float64 `json:"angle_deg"` // null: not known
		MM        float64  `json:"reading_mm"`
		Indicator int      `json:"indicator"`
	}
	list := make([]reading, len(pts))
	for i, p := range pts {
		list[i] = reading{T: p.T, MM: p.Reading, Indicator: p.Indicator}
		if p.Finite() {
			deg := sweep.Degrees(p.Angle)
			list[i].Deg = &deg
		}
	}
	return json.NewEncoder(e.out).Encode(map[string]any{"run": r, "readings": list})
}
