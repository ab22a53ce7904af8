package daemon

import (
	"context"
	"fmt"
	"time"

	"tramd/cmd/tramd/internal/session"
	"tramd/cmd/tramd/internal/watchdog"
	"tramd/device"
)

// status returns the daemon in one line.
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
func (d *Daemon) tell(err error) { watchdog.Log(d.o.Log, err) }
