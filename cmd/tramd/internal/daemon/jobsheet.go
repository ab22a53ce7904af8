package daemon

import (
	"context"
	"io"

	"tramd/cmd/tramd/internal/config"
	"tramd/cmd/tramd/internal/jobsheet"
	"tramd/store"
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
	}
	if a.Limit != nil {
		sheet.LimitMMPerM = *a.Limit
	}
	if a.Run != 0 { // what the last sweep was really taken with
		run, err := s.Run(ctx, a.Run)
		if err != nil {
			return err
		}
		sheet.Surface, sheet.AngleSource, sheet.Indicators = run.Setup.Surface, run.Setup.AngleSource, run.Setup.Indicators
	}
	for _, x := range a.Adjusters {
		sheet.Units[x.Name] = x.Unit
	}
	for _, c := range a.Cutters {
		sheet.Cutters = append(sheet.Cutters, c.Say)
	}
	return sheet.Write(w)
}
