package runs

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"

	"tramd/cmd/tramd/internal/session"
	"tramd/store"
	"tramd/sweep"
	"tramd/sweep/drift"
	"tramd/sweep/units"
)

// Imported is what became of it.
type Imported struct {
	Run       int64           `json:"run"`
	Kind      string          `json:"kind"`
	Tolerance string          `json:"tolerance,omitempty"`
	Result    json.RawMessage `json:"result"`

	Sweep *sweep.Result `json:"-"` // of a sweep
}

// Import reads a recorded measurement, fits it and stores it as a finished run of the setup. Its columns say its kind,
// unless f does.
func Import(ctx context.Context, s *store.Store, r io.Reader, f session.Recorded, setup sweep.Setup, fit func([]sweep.Point, sweep.Setup) (sweep.Result, error)) (Imported, error) {
	switch {
	case f.At.IsZero() || f.At.Year() < 1970 || f.At.Year() > 9999:
		return Imported{}, Invalid("at: when the sweep was taken is needed, such as 2026-03-02T07:30:00Z")
	case f.Purpose != "check" && f.Purpose != "adjust":
		return Imported{}, Invalid("purpose %q; write \"check\" or \"adjust\"", f.Purpose)
	}
	if f.TemperatureC != nil {
		if err := drift.JudgeTemperature(*f.TemperatureC); err != nil {
			return Imported{}, Invalid("%s", err)
		}
	}
	if f.Tolerance != "" {
		t, err := units.ParseTolerance(f.Tolerance)
		if err != nil {
			return Imported{}, Invalid("tolerance: %s", err)
		}
		setup.Tolerance = t
	}
	kind, r, err := kindOf(r, f)
	if err != nil {
		return Imported{}, refused(err)
	}
	if kind != sweep.KindSweep {
		return importOther(ctx, s, kind, r, f, setup)
	}
	pts, err := sweep.ReadPoints(r, setup)
	if err != nil {
		return Imported{}, refused(err)
	}
	if err := ctx.Err(); err != nil { // its sender went away
		return Imported{}, err
	}
	result, err := fit(pts, setup)
	if err != nil {
		return Imported{}, refused(fmt.Errorf("cannot be fitted: %w", err))
	}
	if err := ctx.Err(); err != nil {
		return Imported{}, err
	}
	id, err := s.ImportRun(ctx, store.Import{
		NewRun: store.NewRun{Kind: "sweep", Purpose: f.Purpose, Setup: setup, StartedAt: f.At, TemperatureC: f.TemperatureC},
		File:   f.Name, Points: pts, Result: result, Again: f.Again,
	})
	if err != nil {
		return Imported{}, twice(err)
	}
	text, err := json.Marshal(result)
	return Imported{Run: id, Kind: kind, Tolerance: setup.Tolerance.Text, Result: text, Sweep: &result}, err
}

// twice says how to store a measurement that is in the record already.
func twice(err error) error {
	if errors.Is(err, store.ErrImported) {
		return &session.Refusal{Status: http.StatusConflict, Text: err.Error() + "; to store it twice import it with --again"}
	}
	return err
}

// Invalid returns the refusal of something that the caller wrote.
func Invalid(format string, args ...any) error {
	return &session.Refusal{Status: http.StatusBadRequest, Text: fmt.Sprintf(format, args...)}
}

// refused tells what is wrong with the file as the sender's to cure, but not what is wrong with the way it came.
func refused(err error) error {
	var big *http.MaxBytesError
	var came interface{ HTTPStatus() int }
	if errors.As(err, &big) || errors.As(err, &came) {
		return err
	}
	return &session.Refusal{Status: http.StatusUnprocessableEntity, Text: err.Error()}
}
