package runs

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"slices"

	"tramd/cmd/tramd/internal/api"
	"tramd/cmd/tramd/internal/assembly"
	"tramd/store"
	"tramd/sweep"
)

// kindOf returns the kind of a recorded file, and a reader that begins at its start.
func kindOf(r io.Reader, f api.Recorded) (kind string, again io.Reader, err error) {
	switch {
	case f.Kind == sweep.KindSweep:
		return sweep.KindSweep, r, nil
	case assembly.Knows(f.Kind):
		return f.Kind, r, nil
	case f.Kind != "":
		return "", r, fmt.Errorf("%q is no kind of measurement: write sweep, traverse, bar, travel or cross", f.Kind)
	}
	columns, again, err := sweep.Header(r)
	if err != nil {
		return "", again, err
	}
	if seeker, ok := r.(io.Seeker); ok {
		if _, err := seeker.Seek(0, io.SeekStart); err == nil {
			again = r // whose size is known
		}
	}
	if slices.Contains(columns, "angle_deg") && !slices.Contains(columns, "height_mm") &&
		!slices.Contains(columns, "position_mm") {
		return sweep.KindSweep, again, nil
	}
	kind, err = sweep.KindOf(columns)
	if err != nil {
		return "", again, err
	}
	options, err := assembly.ParseOptions(f.Own)
	if kind == sweep.KindTravel && options.Of == "table" {
		kind = sweep.KindCross
	}
	return kind, again, err
}

// importOther stores a measurement that is no sweep.
func importOther(ctx context.Context, s *store.Store, kind string, r io.Reader, f api.Recorded, setup sweep.Setup) (
	api.Imported, error) {
	options, err := assembly.ParseOptions(f.Own)
	if err != nil {
		return api.Imported{}, refused(err)
	}
	samples, err := assembly.Read(kind, r, &setup, f.Kind != "")
	if err != nil {
		return api.Imported{}, refused(err)
	}
	result, err := assembly.Fit(kind, samples, setup, options)
	if err != nil {
		return api.Imported{}, refused(fmt.Errorf("cannot be fitted: %w", err))
	}
	finding, err := result.Finding()
	if err != nil {
		return api.Imported{}, err
	}
	own, err := json.Marshal(options)
	if err != nil {
		return api.Imported{}, err
	}
	id, err := s.ImportRun(ctx, store.Import{
		NewRun: store.NewRun{Kind: kind, Subject: f.Subject, Purpose: f.Purpose, Setup: setup, Own: own,
			StartedAt: f.At, TemperatureC: f.TemperatureC},
		File: f.Name, Samples: &samples, Finding: &finding, Again: f.Again,
	})
	if err != nil {
		return api.Imported{}, twice(err)
	}
	return api.Imported{Run: id, Kind: kind, Tolerance: setup.Tolerance.Text, Result: finding.JSON}, nil
}

// RefittedOther is a stored measurement that is no sweep, fitted again.
type RefittedOther struct {
	Run    int64
	Kind   string
	Before json.RawMessage // nil where the run had no result
	Now    assembly.Result
}

// IsOther reports whether a run is a measurement that is no sweep.
func IsOther(ctx context.Context, s *store.Store, id int64) (bool, error) {
	run, err := s.Run(ctx, id)
	return err == nil && assembly.Knows(run.Kind), err
}

// RefitOther is Refit for a measurement that is no sweep.
func RefitOther(ctx context.Context, s *store.Store, id int64, keep bool) (RefittedOther, error) {
	run, err := s.Run(ctx, id)
	if err != nil {
		return RefittedOther{}, err
	}
	if run.Outcome == "" {
		return RefittedOther{}, api.Conflict.Errorf("run %d is still going on: fit it again when it has ended", id)
	}
	samples, err := s.Samples(ctx, id)
	if err != nil {
		return RefittedOther{}, err
	}
	samples = assembly.Believed(samples, run.Doubts)
	options, err := assembly.ParseOptions(run.Own)
	if err != nil {
		return RefittedOther{}, refused(fmt.Errorf("run %d: %w", id, err))
	}
	out := RefittedOther{Run: id, Kind: run.Kind, Before: run.Raw}
	if out.Now, err = assembly.Fit(run.Kind, samples, run.Setup, options); err != nil {
		return RefittedOther{}, refused(fmt.Errorf("run %d cannot be fitted: %w", id, err))
	}
	if run.Missing > 0 {
		out.Now.Warn(sweep.Warning{Code: "readings_missing",
			Text: fmt.Sprintf("%d of its %d readings were lost with a damaged file", run.Missing, run.Readings)})
	}
	if keep {
		err = AddOther(ctx, s, id, out.Now)
	}
	return out, err
}

// AddOther adds a result to a stored measurement that is no sweep.
func AddOther(ctx context.Context, s *store.Store, id int64, r assembly.Result) error {
	f, err := r.Finding()
	if err != nil {
		return err
	}
	return s.AddFinding(ctx, id, f)
}
