package device

import (
	"context"
	"errors"
	"math/rand/v2"
	"os"
	"strings"
	"time"

	"tramd/device/capture"
	"tramd/device/serialport"
)

// Waits between attempts to open a port.
const (
	backoffMin = 250 * time.Millisecond
	backoffMax = 10 * time.Second
	absentPoll = time.Second
)

// recorded says of what a capture is made.
func (d *Device) recorded() capture.Source {
	s := d.spec
	return capture.Source{Device: s.Name, Port: s.Port, Frame: s.Frame, CountsPerTurn: s.CountsPerTurn, Baud: s.Baud}
}

// Run keeps the port open and read until ctx ends, and returns nil then. After a loss the port is closed at once and
// its path resolved again. Run may be called once.
func (d *Device) Run(ctx context.Context) error {
	if d.spec.Capture != "" {
		rec, err := capture.Open(d.spec.Capture, d.recorded(), Now())
		if err != nil {
			// The measurement matters more than its recording.
			d.log.Error("nothing is recorded", "err", err)
		} else {
			d.rec = rec
			defer func() {
				if err := rec.Close(); err != nil {
					d.log.Error("the capture is not complete", "file", d.spec.Capture, "err", err)
				}
			}()
		}
	}
	if file, ok := strings.CutPrefix(d.spec.Port, replayScheme); ok {
		return d.replay(ctx, file)
	}
	wait := backoffMin
	for first := true; ctx.Err() == nil; first = false {
		if st := d.state(); st != StateOpening && d.worthOpening(first || st == StateLost) {
			d.become(StateOpening, "")
		}
		src, err := d.open(ctx)
		if ctx.Err() != nil {
			if err == nil {
				src.Close()
			}
			break
		}
		switch {
		case err == nil:
			d.countOpen()
			d.become(StateSettling, "")
			if d.serve(ctx, src) {
				wait = backoffMin // it had come to life: the next loss is a new story
			}
			if ctx.Err() != nil {
				return nil
			}
			sleep(ctx, jitter(wait))
			wait = min(2*wait, backoffMax)
		case errors.Is(err, serialport.ErrAbsent):
			d.become(StateAbsent, err.Error())
			sleep(ctx, jitter(absentPoll))
			wait = backoffMin
		default:
			d.become(StateOpening, err.Error())
			sleep(ctx, jitter(wait))
			wait = min(2*wait, backoffMax)
		}
	}
	return nil
}

// worthOpening reports whether an attempt is more than a poll for a port that is not there, which changes no state.
func (d *Device) worthOpening(news bool) bool {
	if strings.HasPrefix(d.spec.Port, tcpScheme) {
		return news
	}
	_, err := os.Stat(d.spec.Port)
	return err == nil
}

func (d *Device) state() State {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.status.State
}

func (d *Device) countOpen() {
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.opens++; d.opens > 1 {
		d.status.Reconnects++
	}
}

// jitter spreads a wait over 3/4 to 5/4 of itself, so that devices that were lost together do not return together.
func jitter(w time.Duration) time.Duration {
	return w*3/4 + rand.N(w/2)
}

func sleep(ctx context.Context, w time.Duration) {
	t := time.NewTimer(w)
	defer t.Stop()
	select {
	case <-ctx.Done():
	case <-t.C:
	}
}
