package daemon

import (
	"context"

	"tramd/cmd/tramd/internal/api"
	"tramd/cmd/tramd/internal/assembly"
	"tramd/cmd/tramd/internal/runs"
	"tramd/sweep"
)

// pictured is the page's way to what the record says of the assembly.
type pictured struct{ d *Daemon }

// decode returns the result of a run that is no sweep.
func (p pictured) decode(ctx context.Context, id int64) (title string, r assembly.Result, err error) {
	run, err := p.d.store.Run(ctx, id)
	if err != nil {
		return "", r, runs.NotFound(err)
	}
	if !assembly.Knows(run.Kind) {
		return "", r, api.NotFound.Errorf("run %d is a %s: its numbers stand in its result", id, run.Kind)
	}
	if run.Raw == nil {
		return "", r, api.NotFound.Errorf("run %d has no result", id)
	}
	title = run.Kind
	if run.Subject != "" {
		title += " " + run.Subject
	}
	r, err = assembly.Decode(run.Kind, run.Raw)
	return title, r, err
}

func (p pictured) Measured(ctx context.Context, id int64) (any, error) {
	title, r, err := p.decode(ctx, id)
	if err != nil {
		return nil, err
	}
	return struct {
		Title   string            `json:"title"`
		Figures []assembly.Figure `json:"figures"`
		Verdict sweep.Verdict     `json:"verdict"`
		Picture bool              `json:"picture"`
	}{title, r.Figures(), r.Verdict(), r.Picture(title) != ""}, nil
}

func (p pictured) Picture(ctx context.Context, id int64) (string, error) {
	title, r, err := p.decode(ctx, id)
	if err != nil {
		return "", err
	}
	return r.Picture(title), nil
}

func (p pictured) Job(ctx context.Context) (any, error) {
	return assembly.JobOf(ctx, p.d.store, p.d.cfg)
}

func (p pictured) Chain(ctx context.Context) (string, error) {
	job, err := assembly.JobOf(ctx, p.d.store, p.d.cfg)
	if err != nil {
		return "", err
	}
	return assembly.ChainPicture("all relations, mm/m", job.Stack), nil
}
