package main

import (
	"encoding/json"
	"errors"
	"math"
	"time"

	"tramd/cmd/tramd/internal/assembly"
	"tramd/cmd/tramd/internal/runs"
	"tramd/store"
	"tramd/sweep"
)

type exportCmd struct {
	storeFlag
	ID          int64         `arg:"" optional:"" help:"The run."`
	JSON        bool          `name:"json" help:"Run, setup, result and readings as one JSON object instead of CSV."`
	OpenMetrics bool          `name:"openmetrics" help:"All checks of the record as OpenMetrics with timestamps, for promtool tsdb create-blocks-from openmetrics."`
	Every       time.Duration `placeholder:"DURATION" help:"With --openmetrics: repeat each value so often until the next check, as scrapes would have found it. 4m lets dashboards draw lines."`
}

func (c *exportCmd) Run(e *env) error {
	switch {
	case c.OpenMetrics && (c.ID != 0 || c.JSON):
		return usageError{errors.New("--openmetrics writes the whole record: leave out the run and --json")}
	case c.Every != 0 && !c.OpenMetrics:
		return usageError{errors.New("--every belongs to --openmetrics")}
	case c.Every != 0 && c.Every < time.Second:
		return usageError{errors.New("--every must be a second at least, such as 4m")}
	case c.OpenMetrics:
		return c.openMetrics(e, time.Now())
	case c.ID == 0:
		return usageError{errors.New(
			"name the run, such as tramd export 12, or --openmetrics for the checks of the whole record")}
	}
	return c.withRun(e, c.ID, func(s *store.Store, r store.Run) error { return c.export(e, s, r) })
}

func (c *exportCmd) export(e *env, s *store.Store, r store.Run) error {
	if assembly.Knows(r.Kind) {
		return c.other(e, s, r)
	}
	pts, err := s.Points(e.ctx, c.ID)
	if err != nil {
		return err
	}
	if !c.JSON {
		return runs.WriteCSV(e.out, r.Setup, pts)
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

// other exports a measurement that is no sweep.
func (c *exportCmd) other(e *env, s *store.Store, r store.Run) error {
	samples, err := s.Samples(e.ctx, c.ID)
	if err != nil {
		return err
	}
	if !c.JSON {
		return assembly.WriteCSV(e.out, r.Kind, assembly.Believed(samples, r.Doubts), r.Setup)
	}
	list := make([]map[string]any, len(samples.Points))
	for i, p := range samples.Points {
		row := map[string]any{"t_s": p.T, "reading_mm": p.Reading, "indicator": p.Indicator}
		if p.Finite() {
			row["angle_deg"] = sweep.Degrees(p.Angle)
		}
		for _, col := range samples.Columns {
			switch {
			case col.Words != nil:
				row[col.Name] = col.Words[i]
			case !math.IsNaN(col.Values[i]):
				row[col.Name] = col.Values[i]
			}
		}
		list[i] = row
	}
	return json.NewEncoder(e.out).Encode(map[string]any{"run": store.Line{Run: r, Result: r.Raw}, "readings": list})
}
