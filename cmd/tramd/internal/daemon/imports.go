package daemon

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net/http"

	"tramd/cmd/tramd/internal/session"
	"tramd/store"
	"tramd/sweep"
	"tramd/sweep/drift"
)

// Imported is what became of it.
type Imported struct {
	Run    int64        `json:"run"`
	Result sweep.Result `json:"result"`
}

// Import reads a recorded sweep (see sweep.ReadPoints), fits it and stores it as a finished run of the setup.
func Import(ctx context.Context, s *store.Store, r io.Reader, f session.Recorded, setup sweep.Setup, fit func([]sweep.Point, sweep.Setup) (sweep.Result, error)) (Imported, error) {
	switch {
	case f.At.IsZero() || f.At.Year() < 1970 || f.At.Year() > 9999:
		return Imported{}, refusal("at: when the sweep was taken is needed, such as 2026-03-02T07:30:00Z")
	case f.Purpose != "check" && f.Purpose != "adjust":
		return Imported{}, refusal("purpose %q; write \"check\" or \"adjust\"", f.Purpose)
	}
	if f.TemperatureC != nil {
		if err := drift.JudgeTemperature(*f.TemperatureC); err != nil {
			return Imported{}, refusal("%s", err)
		}
	}
	pts, err := sweep.ReadPoints(r, setup)
	if err != nil {
		return Imported{}, refused(err)
	}
	result, err := fit(pts, setup)
	if err != nil {
		return Imported{}, refused(fmt.Errorf("cannot be fitted: %w", err))
	}
	id, err := s.ImportRun(ctx, store.Import{
		NewRun: store.NewRun{Kind: "sweep", Purpose: f.Purpose, Setup: setup, StartedAt: f.At, TemperatureC: f.TemperatureC},
		File:   f.Name, Points: pts, Result: result, Again: f.Again,
	})
	if errors.Is(err, store.ErrImported) {
		return Imported{}, &session.Refusal{Status: http.StatusConflict, Text: err.Error() + "; to store it twice import it with --again"}
	}
	return Imported{Run: id, Result: result}, err
}

func refusal(format string, args ...any) error {
	return &session.Refusal{Status: http.StatusBadRequest, Text: fmt.Sprintf(format, args...)}
}

// refused tells what is wrong with the file as the sender's to cure, but not what is wrong with the way it came.
func refused(err error) error {
	var big *http.MaxBytesError
	if errors.As(err, &big) {
		return err
	}
	return &session.Refusal{Status: http.StatusUnprocessableEntity, Text: err.Error()}
}

// imports is the pages' way to bring recorded sweeps in.
type imports struct{ d *Daemon }

func (i imports) Import(ctx context.Context, r io.Reader, f session.Recorded) (any, error) {
	setup := i.d.cfg.Setup()
	out, err := Import(ctx, i.d.store, r, f, setup, i.d.fit)
	if err != nil {
		return nil, err
	}
	i.d.o.Log.Info("sweep imported", "run", out.Run, "file", f.Name)
	i.d.drift.changed(false)
	return out, i.d.session.Imported(ctx, session.LastRun{Run: out.Run, At: f.At, Result: out.Result})
}
