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

func (i imports) Import(ctx context.Context, r io.Reader, f session.Recorded) (any, error) {
	setup := i.d.cfg.Setup()
	out, err := runs.Import(ctx, i.d.store, r, f, setup, i.d.fit)
	if err != nil {
		return nil, err
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

func (r refits) Refit(ctx context.Context, id int64, keep bool) (any, error) {
	if other, err := runs.IsOther(ctx, r.d.store, id); err == nil && other {
		out, err := runs.RefitOther(ctx, r.d.store, id, keep)
		r.d.assembled.changed()
		return out, err
	}
	out, err := runs.Refit(ctx, r.d.store, id, keep, r.d.o.Fit, r.d.o.Log)
	if errors.Is(err, store.ErrNotFound) {
		return nil, api.NotFound.Of(err)
	}
	if err != nil {
		return nil, err
	}
	if keep {
		r.d.o.Log.Info("run fitted again", "run", id, "model", out.Now.Model, "version", out.Now.ModelVersion)
		r.d.drift.changed(false)
	}
	return out, nil
}
