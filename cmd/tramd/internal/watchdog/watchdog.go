// Package watchdog notices when a part of the daemon has stopped doing its work, and tells the service manager that the
// daemon lives for as long as all its parts do.
package watchdog

import (
	"context"
	"fmt"
	"log/slog"
	"sync/atomic"
	"time"

	"tramd/cmd/tramd/internal/notify"
	"tramd/cmd/tramd/internal/session"
	"tramd/device"
)

// How long each part may go without a sign of life before the daemon counts as hung. The store's is long: a worn
// card can hold one write for a minute, and what waits in memory would be lost by a restart.
const (
	tickTimeout   = 10 * time.Second
	readerTimeout = 10 * time.Second
	storeTimeout  = 2 * time.Minute
	lookEvery     = 10 * time.Second // without a watchdog that asks more often
)

// Reader is what is known of one goroutine that reads a port. One that waits for bytes is well, however long it waits.
type Reader struct {
	Name  string
	busy  atomic.Int64 // since when it has been handing a batch on; 0: it is not
	ended atomic.Bool
}

// Ended marks a reader that ended by itself.
func (r *Reader) Ended() { r.ended.Store(true) }

// Sink wraps a sink so that one which never comes back is noticed.
func (r *Reader) Sink(sink device.Sink) device.Sink {
	return func(b device.Batch) {
		r.busy.Store(int64(device.Now()))
		sink(b)
		r.busy.Store(0)
	}
}

// hung returns which part of the daemon has stopped doing its work; nil when all do. Devices that are absent and a
// store that refuses to write are no hang: a restart would cure neither.
func hung(now device.Stamp, p session.Pulse, readers []*Reader) error {
	for _, x := range []struct {
		what    string
		since   device.Stamp
		timeout time.Duration
	}{{"the session", p.Tick, tickTimeout}, {"the store's queue", p.Store, storeTimeout}} {
		if waited := time.Duration(now - x.since); waited > x.timeout {
			return fmt.Errorf("%s has not moved for %.0f s", x.what, waited.Seconds())
		}
	}
	for _, r := range readers {
		if r.ended.Load() {
			return fmt.Errorf("the reader of device %q has ended", r.Name)
		}
		if at := r.busy.Load(); at != 0 && time.Duration(now)-time.Duration(at) > readerTimeout {
			return fmt.Errorf("the reader of device %q has hung for %.0f s", r.Name,
				(time.Duration(now) - time.Duration(at)).Seconds())
		}
	}
	return nil
}

// Options name the parts to watch and where to report them.
type Options struct {
	Pulse   func() session.Pulse
	Readers []*Reader
	Manager *notify.Manager // nil: no service manager
	Status  func(ctx context.Context) string
	Looked  func(hung error) // gets what each look found; may be nil
	Log     *slog.Logger
}

// Run looks at the parts until ctx ends.
func Run(ctx context.Context, o Options) {
	every := lookEvery
	if w := o.Manager.Watchdog() / 3; w > 0 && w < every {
		every = w
	}
	tick := time.NewTicker(every)
	defer tick.Stop()
	said, ill := "", false
	for {
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
		}
		err := hung(device.Now(), o.Pulse(), o.Readers)
		if o.Looked != nil {
			o.Looked(err)
		}
		status := ""
		switch {
		case err == nil:
			status = o.Status(ctx)
			Log(o.Log, o.Manager.Alive())
		case !ill:
			status = "hung: " + err.Error()
			o.Log.Error("the daemon is not well; a watchdog will restart it", "why", err)
		}
		ill = err != nil
		if status != "" && status != said {
			said = status
			Log(o.Log, o.Manager.Status(status))
		}
	}
}

// Log logs that the service manager could not be reached; the work goes on.
func Log(log *slog.Logger, err error) {
	if err != nil {
		log.Warn("cannot tell the service manager", "error", err)
	}
}
