package daemon

import (
	"context"
	"fmt"
	"sync/atomic"
	"time"

	"tramd/cmd/tramd/internal/session"
	"tramd/device"
)

// How long each part may go without a sign of life before the daemon counts as hung. The store's patience is long: a
// worn card can hold one write for a minute, and what waits in memory would be lost by a restart.
const (
	tickTimeout   = 10 * time.Second
	readerTimeout = 10 * time.Second
	storeTimeout  = 2 * time.Minute
	lookEvery     = 10 * time.Second // without a watchdog that asks more often
)

// reader is what is known of one goroutine that reads a port. One that waits for bytes is well, however long it waits.
type reader struct {
	name  string
	busy  atomic.Int64 // since when it has been handing a batch on; 0: it is not
	ended atomic.Bool
}

// handsOn wraps a sink so that one which never comes back is noticed.
func (r *reader) handsOn(sink device.Sink) device.Sink {
	return func(b device.Batch) {
		r.busy.Store(int64(device.Now()))
		sink(b)
		r.busy.Store(0)
	}
}

// hung says which part of the daemon has stopped doing its work; nil when all do. Devices that are absent and a store
// that refuses to write are no hang: a restart would cure neither.
func hung(now device.Stamp, p session.Pulse, readers []*reader) error {
	for _, x := range []struct {
		what     string
		since    device.Stamp
		patience time.Duration
	}{{"the session", p.Tick, tickTimeout}, {"the store's queue", p.Store, storeTimeout}} {
		if waited := time.Duration(now - x.since); waited > x.patience {
			return fmt.Errorf("%s has not moved for %.0f s", x.what, waited.Seconds())
		}
	}
	for _, r := range readers {
		if r.ended.Load() {
			return fmt.Errorf("the reader of device %q has ended", r.name)
		}
		if at := r.busy.Load(); at != 0 && time.Duration(now)-time.Duration(at) > readerTimeout {
			return fmt.Errorf("the reader of device %q has hung for %.0f s", r.name, (time.Duration(now) - time.Duration(at)).Seconds())
		}
	}
	return nil
}

// watch tells the service manager that the daemon lives, for as long as all its parts do.
func (d *Daemon) watch(ctx context.Context) {
	every := lookEvery
	if w := d.o.Manager.Watchdog() / 3; w > 0 && w < every {
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
		err := hung(device.Now(), d.session.Pulse(), d.readers)
		if d.o.Looked != nil {
			d.o.Looked(err)
		}
		status := ""
		switch {
		case err == nil:
			status = d.status(ctx)
			d.tell(d.o.Manager.Alive())
		case !ill:
			status = "hung: " + err.Error()
			d.o.Log.Error("the daemon is not well; a watchdog will restart it", "why", err)
		}
		ill = err != nil
		if status != "" && status != said {
			said = status
			d.tell(d.o.Manager.Status(status))
		}
	}
}

// status is the daemon in one line.
func (d *Daemon) status(ctx context.Context) string {
	ctx, cancel := context.WithTimeout(ctx, time.Second)
	defer cancel()
	s, err := session.Unwatched{Session: d.session}.Snapshot(ctx)
	if err != nil {
		return ""
	}
	live := 0
	for _, x := range s.Devices {
		if x.State == string(device.StateLive) {
			live++
		}
	}
	line := fmt.Sprintf("%s: %d of %d devices live, sweep %s", s.Machine, live, len(s.Devices), s.Sweep.Phase)
	if !s.Store.OK {
		line += ", storing fails"
	}
	if why := d.refused.Load(); why != nil {
		line += "; the new configuration was refused, the old one holds: " + *why
	}
	return line
}

// tell logs that the service manager could not be reached; the work goes on.
func (d *Daemon) tell(err error) {
	if err != nil {
		d.o.Log.Warn("cannot tell the service manager", "error", err)
	}
}
