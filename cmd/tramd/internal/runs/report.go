package runs

import (
	"context"
	"io"

	"tramd/cmd/tramd/internal/config"
	"tramd/cmd/tramd/internal/report"
	"tramd/store"
	"tramd/sweep/drift"
)

// WriteReport writes the maintenance report of the configuration's machine from its record.
func WriteReport(ctx context.Context, w io.Writer, s *store.Store, cfg *config.Config, version string) error {
	h, _, err := s.History(ctx, cfg.Machine.Name, store.Mark{})
	if err != nil {
		return err
	}
	h.Plan = cfg.Check.Intervals()
	a, err := drift.Work(h, Reliability)
	if err != nil {
		return err
	}
	r := report.Report{
		Machine: cfg.Machine.Name, Surface: h.Surface(), Tolerance: cfg.Machine.Tolerance, History: h, Answer: a,
		Reliability: Reliability, Version: version,
		Units: cfg.Units(), Page: cfg.Page(),
	}
	return r.Write(w)
}
