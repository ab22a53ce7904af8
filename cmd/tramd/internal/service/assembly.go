package service

import (
	"context"

	"tramd/cmd/tramd/internal/api"
	"tramd/cmd/tramd/internal/assembly"
	"tramd/cmd/tramd/internal/runs"
	"tramd/cmd/tramd/internal/session"
)

// decode returns the result of a run that is no sweep.
func (s *Service) decode(ctx context.Context, id int64) (title string, r assembly.Result, err error) {
	run, err := s.Store.Run(ctx, id)
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

// Measured returns every number of a run that is no sweep.
func (s *Service) Measured(ctx context.Context, id int64) (api.Measured, error) {
	title, r, err := s.decode(ctx, id)
	if err != nil {
		return api.Measured{}, err
	}
	return api.Measured{Title: title, Figures: r.Figures(), Verdict: r.Verdict(), Picture: r.Picture(title) != ""}, nil
}

// Picture returns a run that is no sweep as SVG; "" where there is nothing to draw.
func (s *Service) Picture(ctx context.Context, id int64) (string, error) {
	title, r, err := s.decode(ctx, id)
	if err != nil {
		return "", err
	}
	return r.Picture(title), nil
}

// Job returns how far the assembly has come.
func (s *Service) Job(ctx context.Context) (*api.Job, error) {
	return assembly.JobOf(ctx, s.Store, s.Config)
}

// Joint returns what to move next at the joint that a measurement shows.
func (s *Service) Joint(ctx context.Context, of string) (api.JointAdvice, error) {
	return assembly.Advise(ctx, s.Store, s.Config, of)
}

// Chain returns all relations as SVG.
func (s *Service) Chain(ctx context.Context) (string, error) {
	job, err := assembly.JobOf(ctx, s.Store, s.Config)
	if err != nil {
		return "", err
	}
	return assembly.ChainPicture("all relations, mm/m", job.Stack), nil
}

// Measure begins an attended measurement that is no sweep.
func (s *Service) Measure(ctx context.Context, w api.Wanted) (run int64, err error) {
	m, err := s.plan(w)
	if err != nil {
		return 0, err
	}
	return s.Session.StartMeasurement(ctx, m, w.Purpose)
}

// ArmSteps arms the motor that moves the axis of a measurement, for one motion.
func (s *Service) ArmSteps(ctx context.Context, w api.Wanted) (api.Armed, error) {
	m, err := s.plan(w)
	if err != nil {
		return api.Armed{}, err
	}
	return s.Session.ArmSteps(ctx, m)
}

// StartSteps begins such a measurement with the key that arming gave.
func (s *Service) StartSteps(ctx context.Context, key string, w api.Wanted) (run int64, err error) {
	m, err := s.plan(w)
	if err != nil {
		return 0, err
	}
	return s.Session.StartSteps(ctx, key, m, w.Purpose)
}

func (s *Service) plan(w api.Wanted) (session.Measurement, error) {
	m, err := assembly.Plan(s.Config, assembly.Wanted{Kind: w.Kind, Name: w.Name, Typed: w.Typed})
	if err != nil {
		return m, api.Invalid.Of(err)
	}
	return m, nil
}
