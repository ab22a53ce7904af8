package runs

import (
	"context"
	"fmt"
	"html/template"
	"io"

	"tramd/cmd/tramd/internal/api"
	"tramd/cmd/tramd/internal/assembly"
	"tramd/cmd/tramd/internal/config"
	"tramd/cmd/tramd/internal/jobsheet"
	"tramd/store"
	"tramd/sweep"
)

// WriteJobSheet writes the record of the last job.
func WriteJobSheet(ctx context.Context, w io.Writer, s *store.Store, cfg *config.Config, version string) error {
	a, err := Advise(ctx, s, cfg)
	if err != nil {
		return err
	}
	setup := cfg.Setup()
	sheet := jobsheet.Sheet{
		Machine: setup.Machine, Surface: setup.Surface, Tolerance: setup.Tolerance.Text, AngleSource: setup.AngleSource,
		Indicators: setup.Indicators, Units: map[string]string{}, Stages: jobsheet.Last(a.Job), Version: version,
		Display: cfg.Units(), Page: cfg.Page(),
	}
	if a.Limit != nil {
		sheet.LimitMMPerM = *a.Limit
	}
	if a.Run != 0 { // what the last sweep was really taken with
		run, err := s.Run(ctx, a.Run)
		if err != nil {
			return err
		}
		sheet.Surface, sheet.AngleSource, sheet.Indicators = run.Setup.Surface, run.Setup.AngleSource,
			run.Setup.Indicators
	}
	for _, x := range a.Adjusters {
		sheet.Units[x.Name] = x.Unit
	}
	for _, c := range a.Cutters {
		sheet.Cutters = append(sheet.Cutters, c.Say)
	}
	if sheet.Assembly, err = assemblyOf(ctx, s, cfg); err != nil {
		return err
	}
	return sheet.Write(w)
}

// assemblyOf returns the whole assembly for the page; nil where nothing but sweeps is configured.
func assemblyOf(ctx context.Context, s *store.Store, cfg *config.Config) (*jobsheet.Assembly, error) {
	if len(cfg.Steps()) < 2 {
		return nil, nil
	}
	job, err := assembly.JobOf(ctx, s, cfg)
	if err != nil {
		return nil, err
	}
	// our own drawing, its words escaped
	out := &jobsheet.Assembly{Say: job.Say,
		Drawn: template.HTML(assembly.ChainPicture("all relations, mm/m", job.Stack))}
	for i, x := range job.Steps {
		step := jobsheet.AssemblyStep{Number: i + 1, Name: x.Name, State: x.State, Upset: x.Upset,
			Before: numbers(x.Before), Now: numbers(x.Now), Run: x.Run}
		if x.At != nil {
			step.At = *x.At
		}
		if x.Run != 0 && x.Kind != sweep.KindSweep {
			run, err := s.Run(ctx, x.Run)
			if err != nil {
				return nil, err
			}
			r, err := assembly.Decode(run.Kind, run.Raw)
			if err != nil {
				return nil, fmt.Errorf("run %d: %w", x.Run, err)
			}
			step.Picture = template.HTML(r.Picture(x.Name)) // our own drawing, its words escaped
		}
		out.Steps = append(out.Steps, step)
	}
	if job.Stack != nil {
		out.Chain = job.Stack.Say
	}
	return out, nil
}

func numbers(figures []api.Figure) []jobsheet.Number {
	var out []jobsheet.Number
	for _, f := range figures {
		n := jobsheet.Number{Text: f.String()}
		if f.Verdict != sweep.None {
			n.Verdict = string(f.Verdict)
		}
		out = append(out, n)
	}
	return out
}
