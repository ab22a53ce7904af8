package tui

import (
	"context"
	"fmt"
	"io"
	"log/slog"
	"sync"
	"time"

	"tramd/device"
)

// Listening is how a port or an input is shown.
type Listening struct {
	All     bool    // every read of a fast stream
	JSON    bool    // a line for each read, for a program
	Seconds float64 // how long; 0: until ctx ends
}

func (o Listening) until(ctx context.Context) (context.Context, context.CancelFunc) {
	if o.Seconds > 0 {
		return context.WithTimeout(ctx, time.Duration(o.Seconds*float64(time.Second)))
	}
	return context.WithCancel(ctx)
}

// Listen shows what a port sends, and what it is read as, until ctx ends.
func Listen(ctx context.Context, out, notes io.Writer, spec device.Spec, o Listening, log *slog.Logger) error {
	spec.Capture = "" // what is recorded is the daemon's business
	v := &listenView{out: out, all: o.All || o.JSON, json: o.JSON, start: device.Now()}
	spec.Tap = v.tap
	d, err := device.New(0, spec, v.sink, log)
	if err != nil {
		return err
	}
	v.faults = d.Status().Faults
	v.status = d.Status
	ctx, cancel := o.until(ctx)
	defer cancel()
	go func() {
		select {
		case <-ctx.Done():
		case <-d.Ended():
			time.Sleep(2 * listenFlush)
			cancel()
		}
	}()
	fmt.Fprintf(notes, "Listening to %s, %d baud %s, frame %s. Ctrl-C stops.\n", d.Spec().Port, d.Spec().Baud,
		d.Spec().Line, d.Spec().Frame)
	var ticks sync.WaitGroup
	ticks.Go(func() { v.tick(ctx) })
	err = d.Run(ctx)
	cancel()
	ticks.Wait()
	if err != nil {
		return err
	}
	return v.summary(d.Status())
}
