package daemon

import (
	"context"
	"errors"
	"log/slog"
	"net"
	"net/http"
	"os"
	"sync"
	"sync/atomic"
	"time"

	"tramd/cmd/tramd/internal/alarm"
	"tramd/cmd/tramd/internal/archive"
	"tramd/cmd/tramd/internal/assembly"
	"tramd/cmd/tramd/internal/clock"
	"tramd/cmd/tramd/internal/config"
	"tramd/cmd/tramd/internal/history"
	"tramd/cmd/tramd/internal/hours"
	"tramd/cmd/tramd/internal/inputs"
	"tramd/cmd/tramd/internal/interlock"
	"tramd/cmd/tramd/internal/maintenance"
	"tramd/cmd/tramd/internal/memtrim"
	"tramd/cmd/tramd/internal/mqtt"
	"tramd/cmd/tramd/internal/notify"
	"tramd/cmd/tramd/internal/runs"
	"tramd/cmd/tramd/internal/service"
	"tramd/cmd/tramd/internal/session"
	"tramd/cmd/tramd/internal/temperature"
	"tramd/cmd/tramd/internal/unattended"
	"tramd/cmd/tramd/internal/watchdog"
	"tramd/device"
	"tramd/device/frame"
)

// Options are what the command line adds to a configuration.
type Options struct {
	Version string
	Log     *slog.Logger
	Fit     runs.FitFunc
	Ready   func(addr net.Addr) // called once everything listens
	Manager *notify.Manager     // nil: no service manager
	Reload  <-chan os.Signal    // nil: the configuration is read once
	Load    func() (*config.Config, error)
	Looked  func(hung error) // gets what each look at the daemon's own parts found; may be nil
}

// Daemon is a running program.
type Daemon struct {
	o       Options
	cfg     *config.Config
	secrets secrets // that cfg names
	record  *maintenance.Record
	clock   *clock.Watcher
	history *history.Follower

	thermometer *temperature.Thermometer
	hours       *hours.Recorder
	inputs      *inputs.Set
	devices     []*device.Device
	readers     []*watchdog.Reader // of the devices
	session     *session.Session
	service     *service.Service
	checks      *unattended.Runner // nil: none are planned
	backlog     *session.Backlog   // what the parts before could not store; nil: all was stored
	mqtt        *mqtt.Options      // nil: no broker is configured
	alarms      *alarm.Notifier    // nil: no receiver is configured
	servers     []server
	done        chan struct{}          // closed when the pages must end
	started     bool                   // everything listened
	refused     atomic.Pointer[string] // why the last new configuration was not taken; nil: it was

	interlock *interlock.Interlock // says whether the arm may be moved
}

type server struct {
	http   *http.Server
	listen net.Listener
	serve  func(net.Listener) error
}

// readWithin bounds how long a look waits for the ports to be read.
const readWithin = 20 * time.Millisecond

// once runs the daemon until ctx ends, or until there is another configuration to run it with.
func (d *Daemon) once(ctx context.Context) (next *order, err error) {
	d.clock = clock.NewWatcher(clock.System(d.cfg.Clock.Trusted))
	d.record, err = maintenance.Open(ctx, maintenance.Options{Config: d.cfg, Clock: d.clock, Fit: d.o.Fit,
		Unstored: d.backlog.Runs(), Log: d.o.Log})
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, d.record.Store.Close()) }()
	if err := d.build(ctx); err != nil {
		return nil, err
	}
	if err := d.listen(); err != nil {
		return nil, err
	}
	return d.serve(ctx)
}

func (d *Daemon) build(ctx context.Context) (err error) {
	db, log := d.record.Store, d.o.Log
	d.history = history.New(history.Options{Store: db, Config: d.cfg, ClockSet: d.clock.IsSet, Log: log})
	d.thermometer = temperature.New(d.cfg.Temperature.File, log)
	if d.inputs, err = inputs.New(d.cfg.InputSpecs(), log); err != nil {
		return err
	}
	d.hours, err = hours.Open(ctx, hours.Options{
		Store: db, From: hoursFrom(d.cfg), Line: d.inputs.Named(d.cfg.Hours.Input), Step: d.cfg.HoursStep(),
		ClockSet: d.clock.IsSet, Log: log,
	})
	if err != nil {
		return err
	}
	d.interlock = newInterlock(d.cfg, d.inputs)
	archive := &archive.Archive{
		Store: db, Config: d.cfg, ClockSet: d.clock.IsSet, Temperature: d.thermometer, Hours: d.hours,
		History: d.history, Log: log,
	}
	fitter := &runs.Fitter{Store: db, Model: d.o.Fit, BothWays: d.cfg.Sweep.Both, Log: log}
	specs, indicators, angle := routes(d.cfg)
	specs, position := addScale(d.cfg, specs)
	if angle.ZeroUnknown {
		archive.RecallZero(ctx, &angle)
	}
	var ports []session.Port
	for i, spec := range specs {
		r := &watchdog.Reader{Name: spec.Name}
		sink := func(b device.Batch) { d.session.Sink(b) }
		if spec.Role == frame.RoleMachine {
			sink = func(b device.Batch) { d.inputs.Sink(b); d.hours.Sink(b) }
		}
		dev, err := device.New(i, spec, r.Sink(sink), log)
		if err != nil {
			return err
		}
		d.devices, d.readers = append(d.devices, dev), append(d.readers, r)
		port := session.Port{Name: spec.Name, Role: spec.Role.String(), Path: spec.Port, Status: dev.Status}
		if spec.Asking.OnDemand {
			port.Ask = dev.Ask
		}
		ports = append(ports, port)
	}
	d.session, err = session.New(session.Options{
		Setup: d.cfg.Setup(), Indicators: indicators, Angle: angle, Position: position,
		Motion: motionOf(d.cfg), OpenSteps: stepsOf(d.cfg), Interlock: d.interlock,
		Ports: ports, Idle: d.cfg.Sweep.Idle(), BothWays: d.cfg.Sweep.Both,
		Archive: archive, Fit: fitter.Fit, Measure: assembly.Measure, Follow: fitter.Follow,
		ClockSet: d.clock.IsSet, Log: log,
		Unstored: db.Waiting(), Backlog: d.backlog, Last: d.record.Past.Last, Counts: d.record.Past.Counts,
		Inputs: d.inputs.States,
		Hours:  d.hours.State, KeepZero: archive.KeepZero,
		Latency: func(wait time.Duration) {
			for _, dev := range d.devices {
				dev.SetLatency(wait)
			}
		},
		ReadNow: func() { device.ReadNow(readWithin) },
	})
	if err != nil {
		return err
	}
	d.record.Show(d.session)
	d.service = &service.Service{
		Store: db, Config: d.cfg, Session: d.session, Hours: d.hours, History: d.history, Temperature: d.thermometer,
		Fitter:   fitter,
		ClockSet: d.clock.IsSet, Version: d.o.Version, Log: log,
	}
	d.checks = d.planned()
	if d.mqtt, err = d.publishes(); err != nil {
		return err
	}
	d.alarms, err = notifier(d.cfg, d.secrets, d.cfg.Page(), session.Unwatched{Session: d.session}, log)
	return err
}

func (d *Daemon) serve(ctx context.Context) (*order, error) {
	// Three stages, each with its own end, so that they can be stopped one after the other.
	reading, stopReading := context.WithCancel(context.WithoutCancel(ctx))
	owning, stopOwning := context.WithCancel(context.WithoutCancel(ctx))
	defer stopReading()
	defer stopOwning()
	var readers, owner, pages sync.WaitGroup
	failed := make(chan error, len(d.servers)+1)

	owner.Go(func() {
		if err := d.session.Run(owning); err != nil {
			failed <- err
		}
	})
	owner.Go(func() { d.record.Run(owning, maintenance.Parts{Session: d.session, History: d.history}) })
	owner.Go(func() { d.history.Run(owning, d.session) })
	owner.Go(func() { d.thermometer.Run(owning) })
	owner.Go(func() { d.hours.Run(owning) })
	owner.Go(func() { d.inputs.Run(owning) })
	if d.checks != nil {
		owner.Go(func() { d.checks.Run(owning) })
	}
	if d.mqtt != nil {
		owner.Go(func() { mqtt.Run(owning, *d.mqtt) })
	}
	if d.alarms != nil {
		owner.Go(func() { d.alarms.Run(owning) })
	}
	for i, dev := range d.devices {
		readers.Go(func() {
			if err := dev.Run(reading); err != nil && reading.Err() == nil {
				d.o.Log.Error("device ended", "error", err)
			}
			select {
			case <-dev.Ended(): // a capture that was played to its end
			default:
				if reading.Err() == nil {
					d.readers[i].Ended()
				}
			}
		})
	}
	for _, s := range d.servers {
		pages.Go(func() {
			if err := s.serve(s.listen); err != nil && !errors.Is(err, http.ErrServerClosed) {
				failed <- err
			}
		})
	}
	d.o.Log.Info("ready", "page", d.pageAddress(), "socket", d.cfg.Control.Socket)
	if d.o.Ready != nil {
		d.o.Ready(d.servers[0].listen.Addr())
	}

	d.started = true
	d.tell(d.o.Manager.Ready(d.status(ctx)))
	owner.Go(func() {
		watchdog.Run(owning, watchdog.Options{Pulse: d.session.Pulse, Readers: d.readers, Manager: d.o.Manager,
			Status: d.status, Looked: d.o.Looked, Log: d.o.Log})
	})
	owner.Go(func() { memtrim.OnceStarted(owning, d.o.Log) })

	next, err := d.until(ctx, failed)
	d.o.Log.Info("stopping")
	if next == nil {
		d.tell(d.o.Manager.Stopping())
	}
	close(d.done)
	for _, s := range d.servers {
		grace, cancel := context.WithTimeout(context.Background(), 2*time.Second)
		if e := s.http.Shutdown(grace); e != nil {
			_ = s.http.Close() // what did not end in its time is cut
		}
		cancel()
	}
	pages.Wait()
	stopReading()
	readers.Wait()
	stopOwning()
	owner.Wait()
	d.backlog = d.session.Backlog()
	return next, err
}

// until waits for the end: of ctx, of a part that failed, of the configuration in force, or of a record that waits for
// room.
func (d *Daemon) until(ctx context.Context, failed <-chan error) (*order, error) {
	looking, stop := context.WithCancel(ctx)
	defer stop()
	room := d.record.Room(looking, session.Unwatched{Session: d.session})
	for {
		select {
		case <-ctx.Done():
			return nil, nil
		case err := <-failed:
			return nil, err
		case <-room:
			return &order{d.cfg, d.secrets}, nil
		case <-d.o.Reload:
			if next := d.reload(ctx); next != nil {
				return next, nil
			}
		}
	}
}
