package main

import (
	"context"
	"fmt"
	"log/slog"
	"math"

	"tramd/cmd/tramd/internal/config"
	"tramd/cmd/tramd/internal/sim"
	"tramd/store"
	"tramd/sweep"
	"tramd/sweep/mixed"
)

// writeYear fills a new record with an invented year of a simulated machine. Each check is a simulated sweep that the
// real model fits, so that the results carry the uncertainties they would have had.
func writeYear(ctx context.Context, cfg *config.Config, p sim.Params, year []sim.Entry, log *slog.Logger) (err error) {
	s, err := store.Open(ctx, cfg.Store.Path, store.Options{Log: log})
	if err != nil {
		return err
	}
	defer func() {
		if e := s.Close(); err == nil {
			err = e
		}
	}()
	for i, x := range year {
		if x.Event != "" {
			if _, err := s.AddEvent(ctx, store.Event{At: x.At, Kind: x.Event, Text: x.Text}); err != nil {
				return err
			}
			continue
		}
		p.Truth, p.Seed = x.Truth, uint64(i+1)
		if err := storeCheck(ctx, s, cfg, p, x); err != nil {
			return fmt.Errorf("write the year of %s: %w", cfg.Machine.Name, err)
		}
	}
	return nil
}

func storeCheck(ctx context.Context, s *store.Store, cfg *config.Config, p sim.Params, x sim.Entry) error {
	readings, err := sim.Sweep(p, demoRPM)
	if err != nil {
		return err
	}
	points := make([]sweep.Point, len(readings))
	for i, r := range readings {
		points[i] = sweep.Point{T: r.Seconds, Angle: r.AngleDeg * math.Pi / 180, Reading: r.MM}
	}
	setup := cfg.Setup()
	result, err := mixed.Fit(points, setup)
	if err != nil {
		return err
	}
	run, err := s.BeginRun(ctx, store.NewRun{
		Kind: "sweep", Purpose: "check", Setup: setup, StartedAt: x.At, ClockSet: true,
		TemperatureC: &x.TemperatureC, Meter: &store.Meter{Hours: x.SpindleHours},
	})
	if err != nil {
		return err
	}
	if err := s.AppendPoints(ctx, run, points); err != nil {
		return err
	}
	return s.FinishRun(ctx, run, store.Finished, x.At, "", &result)
}
