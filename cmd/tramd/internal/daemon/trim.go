package daemon

import (
	"context"
	"time"

	"tramd/cmd/tramd/internal/memtrim"
)

// startTakes is when a start is over, with the first look at the record and the first page served.
const startTakes = 5 * time.Second

// trimOnceStarted gives back what only the start needed.
func (d *Daemon) trimOnceStarted(ctx context.Context) {
	select {
	case <-ctx.Done():
	case <-time.After(startTakes):
		d.trim()
	}
}

// trim gives back memory after a large piece of work. Without it the daemon is larger and no worse.
func (d *Daemon) trim() {
	if err := memtrim.Trim(); err != nil {
		d.o.Log.Debug("memory is not given back", "error", err)
	}
}
