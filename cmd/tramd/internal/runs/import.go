package runs

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"

	"tramd/cmd/tramd/internal/api"
	"tramd/store"
	"tramd/sweep"
	"tramd/sweep/drift"
	"tramd/sweep/units"
)

// Import reads a recorded measurement, fits it and stores it as a finished run of the setup. Its columns say its kind,
// unless f does.
func Import(ctx context.Context, s *store.Store, r io.Reader, f api.Recorded, setup sweep.Setup,
	fit func([]sweep.Point, sweep.Setup) (sweep.Result, error)) (api.Imported, error) {
	switch {
	case f.At.IsZero() || f.At.Year() < 1970 || f.At.Year() > 9999:
		return api.Imported{}, api.Invalid.Errorf(
			"at: when the sweep was taken is needed, such as 2026-03-02T07:30:00Z")
	case f.Purpose != "check" && f.Purpose != "adjust":
		return api.Imported{}, api.Invalid.Errorf("purpose %q; write \"check\" or \"adjust\"", f.Purpose)
	}
	if f.TemperatureC != nil {
		if err := drift.JudgeTemperature(*f.TemperatureC); err != nil {
			return api.Imported{}, api.Invalid.Of(err)
		}
	}
	if f.Tolerance != "" {
		t, err := units.ParseTolerance(f.Tolerance)
		if err != nil {
			return api.Imported{}, api.Invalid.Errorf("tolerance: %s", err)
		}
		setup.Tolerance = t
	}
	kind, r, err := kindOf(r, f)
	if err != nil {
		return api.Imported{}, refused(err)
	}
	if kind != sweep.KindSweep {
		return importOther(ctx, s, kind, r, f, setup)
	}
	pts, err := sweep.ReadPoints(r, setup)
	if err != nil {
		return api.Imported{}, refused(err)
	}
	if err := ctx.Err(); err != nil { // its sender went away
		return api.Imported{}, err
	}
	result, err := fit(pts, setup)
	if err != nil {
		return api.Imported{}, refused(fmt.Errorf("cannot be fitted: %w", err))
	}
	if err := ctx.Err(); err != nil {
		return api.Imported{}, err
	}
	id, err := s.ImportRun(ctx, store.Import{
		NewRun: store.NewRun{Kind: "sweep", Purpose: f.Purpose, Setup: setup, StartedAt: f.At,
			TemperatureC: f.TemperatureC},
		File: f.Name, Points: pts, Result: result, Again: f.Again,
	})
	if err != nil {
		return api.Imported{}, twice(err)
	}
	text, err := json.Marshal(result)
	return api.Imported{Run: id, Kind: kind, Tolerance: setup.Tolerance.Text, Result: text, Sweep: &result}, err
}

// twice says how to store a measurement that is in the record already.
func twice(err error) error {
	if errors.Is(err, store.ErrImported) {
		return api.Conflict.New(err.Error() + "; to store it twice import it with --again")
	}
	return err
}

// refused tells what is wrong with the file as the sender's to cure, but not what is wrong with the way it came.
func refused(err error) error {
	if api.KindOf(err) != api.Internal {
		return err
	}
	return api.Unfit.Of(err)
}
