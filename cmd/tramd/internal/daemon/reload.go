package daemon

import (
	"context"
	"errors"
	"fmt"
	"reflect"
	"time"

	"tramd/cmd/tramd/internal/config"
	"tramd/cmd/tramd/internal/session"
)

// Run runs the daemon until ctx ends. Each word on o.Reload makes it read its configuration again, with the passwords
// and certificates that stand in files of their own. One that is wrong, or that cannot be started (a taken address,
// say), changes nothing: the old one stays; the log and the service manager get the reason. A good one is put to work
// by stopping and starting the parts in their usual order.
func Run(ctx context.Context, cfg *config.Config, o Options) error {
	held, err := readSecrets(cfg, o.Log)
	if err != nil {
		return err
	}
	now := order{cfg, held}
	var old *order
	var refused error
	var backlog *session.Backlog
	defer func() { backlog.Lose(o.Log) }()
	for {
		d := &Daemon{o: o, cfg: now.cfg, secrets: now.secrets, backlog: backlog, done: make(chan struct{})}
		d.refuse(refused)
		next, err := d.once(ctx)
		backlog = d.backlog // what it found, where it did not come to serving
		switch {
		case next != nil:
			if err != nil {
				o.Log.Warn("stopping for the new configuration was not clean", "error", err)
			}
			before := now
			old, now, refused = &before, *next, nil
		case err != nil && !d.started && old != nil && ctx.Err() == nil:
			o.Log.Error("the new configuration cannot be started; the old one is put back", "error", err)
			old, now, refused = nil, *old, err
		default:
			return err
		}
	}
}

// order is what a daemon is run with.
type order struct {
	cfg     *config.Config
	secrets secrets
}

// errSweeping keeps a reload from cutting off a person in mid-turn.
var errSweeping = errors.New("a sweep is in hand; reload again when it has ended")

// reload reads the configuration again, and the secrets it names, and gives them if they should be put to work.
func (d *Daemon) reload(ctx context.Context) *order {
	d.tell(d.o.Manager.Reloading())
	next, same, err := d.read()
	if err == nil && !same {
		err = d.free(ctx)
	}
	switch {
	case err != nil:
		d.refuse(err)
		d.o.Log.Error("the new configuration is refused; the old one holds", "error", err)
	case same:
		d.refuse(nil)
		d.o.Log.Info("the configuration was read again; nothing in it has changed")
	default:
		d.o.Log.Info("the configuration has changed; restarting with it")
		return &next
	}
	d.tell(d.o.Manager.Ready(d.status(ctx)))
	return nil
}

func (d *Daemon) read() (next order, same bool, err error) {
	if next.cfg, err = d.o.Load(); err != nil {
		return next, false, err
	}
	if next.secrets, err = readSecrets(next.cfg, d.o.Log); err != nil {
		return next, false, d.secrets.holding(err)
	}
	return next, reflect.DeepEqual(next.cfg, d.cfg) && d.secrets.same(next.secrets), nil
}

// refuse remembers why the last new configuration was not taken.
func (d *Daemon) refuse(err error) {
	if err == nil {
		d.refused.Store(nil)
		return
	}
	why := err.Error()
	d.refused.Store(&why)
}

// free reports whether the daemon may be interrupted.
func (d *Daemon) free(ctx context.Context) error {
	ctx, cancel := context.WithTimeout(ctx, 2*time.Second)
	defer cancel()
	switch idle, err := (session.Unwatched{Session: d.session}).Idle(ctx); {
	case err != nil:
		return fmt.Errorf("cannot see whether a sweep is in hand: %w", err)
	case !idle:
		return errSweeping
	}
	return nil
}
