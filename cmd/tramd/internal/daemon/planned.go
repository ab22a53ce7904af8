package daemon

import (
	"time"

	"tramd/cmd/tramd/internal/session"
	"tramd/cmd/tramd/internal/unattended"
)

// planned returns what takes the unattended checks; nil where none are planned.
func (d *Daemon) planned() *unattended.Runner {
	if len(d.cfg.Check.At) == 0 {
		return nil
	}
	o := unattended.Options{
		Store: d.record.Store, Session: session.Unwatched{Session: d.session}, Plan: d.cfg.CheckPlan(),
		Slots: d.cfg.Check.Slots(), Turns: d.cfg.Check.Turns,
		ClockSet: d.clock.IsSet, Now: time.Now, Log: d.o.Log,
	}
	if o.Plan.Moves {
		o.Mover, o.Interlock = d.session, d.interlock
	}
	return unattended.NewRunner(o)
}
