package session

import (
	"context"
	"errors"
	"log/slog"
	"testing"
	"time"

	"tramd/cmd/tramd/internal/api"
	"tramd/device"
	"tramd/sweep"
)

// A request waits for the session no longer than its own time.
func TestARequestDoesNotWaitForEver(t *testing.T) {
	r := newRig(t, 0)
	r.mu.Lock()
	ctx, cancel := context.WithTimeout(t.Context(), 50*time.Millisecond)
	defer cancel()
	began := time.Now()
	err := r.ask(ctx, func() { t.Error("it was done all the same") })
	r.mu.Unlock()
	if !errors.Is(err, context.DeadlineExceeded) || time.Since(began) > 5*time.Second {
		t.Errorf("%v after %v", err, time.Since(began))
	}
	if err := r.ask(t.Context(), func() {}); err != nil {
		t.Error(err)
	}
}

// A disk that hangs holds up the end of the daemon for its bound, and no request meanwhile.
func TestADiskThatHangsDoesNotHoldUpTheEnd(t *testing.T) {
	hangs := make(chan struct{})
	defer close(hangs)
	a := newWriteQueue(&shelf{hangs: hangs}, nil, slog.New(slog.DiscardHandler))
	a.timeout = 100 * time.Millisecond
	a.add(writing{run: 1, end: &Ending{Outcome: api.Finished}})
	ctx, cancel := context.WithCancel(t.Context())
	ended := make(chan struct{})
	go func() { defer close(ended); a.run(ctx) }()
	time.Sleep(50 * time.Millisecond)
	cancel()
	select {
	case <-ended:
	case <-time.After(5 * time.Second):
		t.Fatal("it waits for the disk for ever")
	}
	if n, _ := a.state(); n != 1 {
		t.Errorf("%d writes wait", n)
	}
}

// While the end waits for a fit the session still answers.
func TestTheEndHoldsNoLockWhileItWaitsForAFit(t *testing.T) {
	live := func() device.Status { return device.Status{State: device.StateLive} }
	r, err := New(Options{
		Setup: sweep.Setup{Machine: "linnet", AngleSource: "encoder",
			Indicators: []sweep.Indicator{{Name: "arm", RadiusMM: 120, ResolutionMM: 0.001}}},
		Indicators: []IndicatorRoute{{Device: 0}},
		Angle:      AngleRoute{Device: 1, Encoder: sweep.EncoderOptions{CountsPerTurn: 3600}},
		Ports:      []Port{{Name: "arm", Status: live}, {Name: "encoder", Status: live}}, Archive: &shelf{},
		Fit: sweep.FitPlain,
	})
	if err != nil {
		t.Fatal(err)
	}
	fitting, let := make(chan struct{}), make(chan struct{})
	if _, err := r.Start(t.Context(), 1, "check"); err != nil {
		t.Fatal(err)
	}
	r.locked(func() {
		r.job.phase, r.job.awaits = api.PhaseFitting, true
	})
	go func() {
		close(fitting)
		r.windDown()
		close(let)
	}()
	<-fitting
	time.Sleep(50 * time.Millisecond)
	ctx, cancel := context.WithTimeout(t.Context(), 2*time.Second)
	defer cancel()
	if _, err := r.Snapshot(ctx); err != nil {
		t.Errorf("while it waits: %v", err)
	}
	r.fits <- fitted{run: 1}
	select {
	case <-let:
	case <-time.After(4 * time.Second):
		t.Error("the fit came, and it waits still")
	}
}
