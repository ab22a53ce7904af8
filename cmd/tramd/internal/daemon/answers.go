package daemon

import (
	"context"
	"errors"
	"io"

	"tramd/cmd/tramd/internal/api"
	"tramd/cmd/tramd/internal/runs"
	"tramd/cmd/tramd/internal/session"
	"tramd/store"
)

// imports is the pages' way to bring recorded sweeps in.
type imports struct{ d *Daemon }

func (i imports) Import(ctx context.Context, r io.Reader, f session.Recorded) (api.Imported, error) {
	setup := i.d.cfg.Setup()
	out, err := runs.Import(ctx, i.d.store, r, f, setup, i.d.fit)
	if err != nil {
		return out, err
	}
	i.d.o.Log.Info("measurement imported", "run", out.Run, "kind", out.Kind, "file", f.Name)
	if out.Sweep == nil {
		i.d.assembled.changed()
		return out, i.d.session.ImportedOther(ctx, out.Kind)
	}
	i.d.drift.changed(false)
	return out, i.d.session.Imported(ctx, session.LastRun{Run: out.Run, At: f.At, Started: f.At, Result: *out.Sweep})
}

// refits is the page's way to fit stored runs again.
type refits struct{ d *Daemon }

func (r refits) Refit(ctx context.Context, id int64, keep bool) (api.Refitted, error) {
	out, err := runs.Again(ctx, r.d.store, id, keep, r.d.o.Fit, r.d.o.Log)
	switch {
	case errors.Is(err, store.ErrNotFound):
		return out, api.NotFound.Of(err)
	case err != nil:
		return out, err
	case out.Sweep == nil:
		r.d.assembled.changed()
	case keep:
		r.d.o.Log.Info("run fitted again", "run", id, "model", out.Sweep.Model, "version", out.Sweep.ModelVersion)
		r.d.drift.changed(false)
	}
	return out, nil
}
