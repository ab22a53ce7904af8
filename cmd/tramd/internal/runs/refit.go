package runs

import (
	"context"
	"encoding/json"
	"fmt"
	"log/slog"

	"tramd/cmd/tramd/internal/api"
	"tramd/store"
	"tramd/sweep"
)

// Refitted is a stored run fitted again.
type Refitted struct {
	Run       int64
	Before    *sweep.Result // nil where the run had no result
	Now       sweep.Result
	Tolerance string
}

// Refit fits a stored run with today's model and what the record knew before it, and keeps the result beside the old
// ones if asked.
func Refit(ctx context.Context, s *store.Store, id int64, keep bool, fit FitFunc, log *slog.Logger) (Refitted, error) {
	run, err := s.Run(ctx, id)
	if err != nil {
		return Refitted{}, err
	}
	if run.Kind != api.Sweeping && run.Kind != api.HalfTurn {
		return Refitted{}, api.Conflict.Errorf("run %d is a %s: it is not fitted as a sweep", id, run.Kind)
	}
	if run.Outcome == "" {
		return Refitted{}, api.Conflict.Errorf("run %d is still going on: fit it again when it has ended", id)
	}
	pts, err := s.Points(ctx, id)
	if err != nil {
		return Refitted{}, err
	}
	out := Refitted{Run: id, Before: run.Result, Tolerance: run.Tolerance}
	if out.Now, err = FitKnowing(ctx, s, id, pts, run.Setup, fit, log); err != nil {
		return Refitted{}, refused(fmt.Errorf("run %d cannot be fitted: %w", id, err))
	}
	if run.Kind == api.HalfTurn {
		if err := out.Now.FindPair(pts, run.Setup); err != nil {
			return Refitted{}, refused(fmt.Errorf("run %d: %w", id, err))
		}
	}
	out.Now.WarnDoubts(run.Doubts)
	if run.Missing > 0 {
		out.Now.Warnings = append(out.Now.Warnings, sweep.Warning{Code: "readings_missing",
			Text: fmt.Sprintf("%d of its %d readings were lost with a damaged file", run.Missing, run.Readings)})
	}
	if keep {
		err = s.AddResult(ctx, id, out.Now)
	}
	return out, err
}

// Again fits a stored run of whatever kind again.
func Again(ctx context.Context, s *store.Store, id int64, keep bool, fit FitFunc, log *slog.Logger) (
	api.Refitted, error) {
	if other, err := IsOther(ctx, s, id); err == nil && other {
		x, err := RefitOther(ctx, s, id, keep)
		if err != nil {
			return api.Refitted{}, err
		}
		now, err := json.Marshal(x.Now)
		return api.Refitted{Run: id, Kind: x.Kind, Before: x.Before, Now: now}, err
	}
	x, err := Refit(ctx, s, id, keep, fit, log)
	if err != nil {
		return api.Refitted{}, err
	}
	out := api.Refitted{Run: id, Tolerance: x.Tolerance, Sweep: &x.Now}
	if out.Before, err = json.Marshal(x.Before); err != nil {
		return out, err
	}
	out.Now, err = json.Marshal(x.Now)
	return out, err
}
