package service

import (
	"context"
	"io"

	"tramd/cmd/tramd/internal/api"
	"tramd/cmd/tramd/internal/runs"
)

// Import brings a recorded measurement into the record.
func (s *Service) Import(ctx context.Context, r io.Reader, f api.Recorded) (api.Imported, error) {
	out, err := runs.Import(ctx, s.Store, r, f, s.Config.Setup(), s.Fitter.Fit)
	if err != nil {
		return out, err
	}
	s.Log.Info("measurement imported", "run", out.Run, "kind", out.Kind, "file", f.Name)
	s.History.Changed(false)
	if out.Sweep == nil {
		return out, s.Session.ImportedOther(ctx, out.Kind)
	}
	return out, s.Session.Imported(ctx, api.LastRun{Run: out.Run, At: f.At, Started: f.At, Result: *out.Sweep})
}

// Refit fits a stored run again, and keeps the result beside the old ones if asked.
func (s *Service) Refit(ctx context.Context, id int64, keep bool) (api.Refitted, error) {
	out, err := runs.Again(ctx, s.Store, id, keep, s.Fitter.Model, s.Log)
	if err != nil {
		return out, runs.NotFound(err)
	}
	if keep && out.Sweep != nil {
		s.Log.Info("run fitted again", "run", id, "model", out.Sweep.Model, "version", out.Sweep.ModelVersion)
	}
	if keep || out.Sweep == nil {
		s.History.Changed(false)
	}
	return out, nil
}

// Separate returns the spindle apart from a loose plate, by a sweep before and one after the plate was turned.
func (s *Service) Separate(ctx context.Context, first, turned int64) (api.Separated, error) {
	out, err := runs.Separate(ctx, s.Store, first, turned)
	return out, runs.NotFound(err)
}

// Advice returns what to move next.
func (s *Service) Advice(ctx context.Context) (api.Advice, error) {
	return runs.Advise(ctx, s.Store, s.Config)
}

// WriteJobSheet writes the record of the last job.
func (s *Service) WriteJobSheet(ctx context.Context, w io.Writer) error {
	return runs.WriteJobSheet(ctx, w, s.Store, s.Config, s.Version)
}

// WriteReport writes the maintenance report.
func (s *Service) WriteReport(ctx context.Context, w io.Writer) error {
	return runs.WriteReport(ctx, w, s.Store, s.Config, s.Version)
}
