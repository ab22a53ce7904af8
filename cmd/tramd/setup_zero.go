package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"strings"
	"sync"
	"time"

	"tramd/cmd/tramd/internal/config"
	"tramd/cmd/tramd/internal/setup"
	"tramd/device"
	"tramd/device/frame"
	"tramd/sweep"
)

// setupArm reads the encoder of a configuration that is being written. No daemon has its port yet.
type setupArm struct {
	mu      sync.Mutex
	encoder *sweep.Encoder
	moved   int64 // where it last moved to by more than a little
	movedAt time.Time
}

const (
	setupStillDeg = 0.5
	setupStillFor = 300 * time.Millisecond
	setupPatience = 5 * time.Second
)

// openSetupArm opens the encoder's port and waits until it speaks.
func openSetupArm(ctx context.Context, cfg *config.Config) (setup.Arm, func(), error) {
	a := &setupArm{encoder: sweep.NewEncoder(sweep.EncoderOptions{
		CountsPerTurn: cfg.Angle.CountsPerTurn, SpindleTeeth: cfg.Angle.SpindleTeeth,
		EncoderTeeth: cfg.Angle.EncoderTeeth, CounterBits: cfg.Angle.CounterBits,
	})}
	spoke := make(chan struct{})
	var once sync.Once
	dev, err := device.New(0, cfg.AnglePort(), func(b device.Batch) {
		if a.take(b.Samples) {
			once.Do(func() { close(spoke) })
		}
	}, slog.New(slog.DiscardHandler))
	if err != nil {
		return nil, nil, err
	}
	ctx, stop := context.WithCancel(ctx)
	ended := make(chan error, 1)
	go func() { ended <- dev.Run(ctx) }()
	done := func() { stop(); <-ended }
	select {
	case <-spoke:
		return a, done, nil
	case <-ctx.Done():
	case <-time.After(setupPatience):
	}
	why := dev.Status().Err
	done()
	if why == "" {
		why = "nothing came that the encoder's frame reads"
	}
	return nil, nil, fmt.Errorf("the encoder on %s is not heard: %s", cfg.Angle.Port, strings.TrimSuffix(why, "."))
}

// take takes samples and reports whether the encoder has a place.
func (a *setupArm) take(samples []device.Sample) bool {
	a.mu.Lock()
	defer a.mu.Unlock()
	drop := func(sweep.Point) {}
	for _, x := range samples {
		switch t := x.At.Seconds(); x.Kind {
		case frame.Count:
			a.encoder.AddCount(t, x.Value, x.Mark, drop)
		case frame.Angle:
			a.encoder.AddDegrees(t, float64(x.Value)/1e6, x.Mark, drop)
		}
	}
	place, known := a.encoder.Place()
	if known && (a.movedAt.IsZero() || a.encoder.TravelDeg(a.moved, place) > setupStillDeg ||
		a.encoder.TravelDeg(place, a.moved) > setupStillDeg) {
		a.moved, a.movedAt = place, time.Now()
	}
	return known
}

// Still reports why the arm cannot be taken to stand; nil: it stands.
func (a *setupArm) Still() error {
	a.mu.Lock()
	defer a.mu.Unlock()
	if time.Since(a.movedAt) < setupStillFor {
		return errors.New("the arm is still moving: hold it still where it points right, then press again")
	}
	return nil
}

// Place returns where the arm is, in the encoder's units.
func (a *setupArm) Place() int64 {
	a.mu.Lock()
	defer a.mu.Unlock()
	place, _ := a.encoder.Place()
	return place
}

// TravelDeg returns the degrees between two places.
func (a *setupArm) TravelDeg(from, to int64) float64 {
	a.mu.Lock()
	defer a.mu.Unlock()
	return a.encoder.TravelDeg(from, to)
}

// SetZero returns the spindle angle at which the encoder shows 0.
func (a *setupArm) SetZero(right int64, reversed bool) float64 {
	a.mu.Lock()
	defer a.mu.Unlock()
	a.encoder.SetZero(right, reversed)
	return a.encoder.ZeroDeg()
}
