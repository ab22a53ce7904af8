package service

import (
	"context"
	"log/slog"

	"tramd/cmd/tramd/internal/config"
	"tramd/cmd/tramd/internal/history"
	"tramd/cmd/tramd/internal/hours"
	"tramd/cmd/tramd/internal/runs"
	"tramd/cmd/tramd/internal/session"
	"tramd/cmd/tramd/internal/temperature"
	"tramd/store"
	"tramd/sweep/drift"
)

// Service answers the page and the API.
type Service struct {
	Store       *store.Store
	Config      *config.Config
	Session     *session.Session // holds what is not stored yet
	Hours       *hours.Recorder
	History     *history.Follower
	Temperature *temperature.Thermometer
	Fitter      *runs.Fitter
	ClockSet    func() bool
	Version     string
	Log         *slog.Logger
}

// SetTemperature takes the machine's temperature, as a person read and typed it.
func (s *Service) SetTemperature(celsius float64) error { return s.Temperature.Set(celsius) }

// Drift returns the history as a page draws it.
func (s *Service) Drift(ctx context.Context) (*drift.View, error) { return s.History.Drift(ctx) }
