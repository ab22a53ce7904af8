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
	"tramd/cmd/tramd/internal/assembly"
	"tramd/cmd/tramd/internal/clock"
	"tramd/cmd/tramd/internal/config"
	"tramd/cmd/tramd/internal/interlock"
	"tramd/cmd/tramd/internal/mqtt"
	"tramd/cmd/tramd/internal/notify"
	"tramd/cmd/tramd/internal/session"
	"tramd/device"
	"tramd/device/frame"
	"tramd/store"
	"tramd/sweep"
	"tramd/sweep/mixed"
)

// Options are what the command line adds to a configuration.
type Options struct {
	Version string
	Log     *slog.Logger
	Fit     func([]sweep.Point, sweep.Setup, mixed.Options) (sweep.Result, error)
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
	store   *store.Store
	clock   *clock.Watcher
	dates   *dates
	drift   *drifting

	assembled   *assembled // relations, traverses and bars of the record
	thermometer *thermometer
	meter       *hourMeter
	machine     *machineLines
	devices     []*device.Device
	readers     []*reader // of the devices
	session     *session.Session
	healer      *healer
	saved       string           // what became of a damaged record; empty: it was whole
	backlog     *session.Backlog // what the parts before could not store; nil: all was stored
	mqtt        *mqtt.Options    // nil: no broker is configured
	alarms      *alarm.Notifier  // nil: no receiver is configured
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
	var past past
	d.store, past, err = d.openRecord(ctx)
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, d.store.Close()) }()
	if err := d.build(ctx, past); err != nil {
		return nil, err
	}
	if err := d.listen(); err != nil {
		return nil, err
	}
	return d.serve(ctx)
}

func (d *Daemon) build(ctx context.Context, past past) (err error) {
	d.clock = clock.NewWatcher(clock.System(d.cfg.Clock.Trusted))
	d.dates = &dates{d: d, boot: clock.BootID()}
	d.dates.look(ctx)
	d.drift = newDrifting(d)
	d.assembled = &assembled{d: d}
	d.thermometer = &thermometer{file: d.cfg.Temperature.File, log: d.o.Log}
	if d.meter, err = newHourMeter(ctx, d.store, hoursFrom(d.cfg), d.cfg.HoursStep(), d.clock.IsSet, d.o.Log); err != nil {
		return err
	}
	if d.machine, err = newMachineLines(d.cfg, d.meter, d.o.Log); err != nil {
		return err
	}
	d.interlock = newInterlock(d.cfg, d.machine)
	specs, indicators, angle := routes(d.cfg)
	specs, position := addScale(d.cfg, specs)
	if angle.ZeroUnknown {
		d.recallZero(ctx, &angle)
	}
	var ports []session.Port
	for i, spec := range specs {
		r := &reader{name: spec.Name}
		sink := func(b device.Batch) { d.session.Sink(b) }
		if spec.Role == frame.RoleMachine {
			sink = d.machine.sink
		}
		dev, err := device.New(i, spec, r.handsOn(sink), d.o.Log)
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
		Setup: d.cfg.Setup(), Indicators: indicators, Angle: angle, Position: position, Motion: motionOf(d.cfg, d.interlock), Ports: ports, Idle: d.cfg.Sweep.Idle(), BothWays: d.cfg.Sweep.Both,
		Archive: &archive{store: d.store, clockSet: d.clock.IsSet, changed: d.drift.changed, temperature: d.thermometer.Now, hours: d.meter, assembled: d.assembled}, Fit: d.fit, Measure: assembly.Measure, Follow: d.follow, ClockSet: d.clock.IsSet, Log: d.o.Log,
		Unstored: d.store.Waiting(), Backlog: d.backlog, Last: past.last, Counts: past.counts, Inputs: d.machine.states, Hours: d.meter.state,
		KeepZero: d.keepZero,
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
	if d.mqtt, err = d.publishes(); err != nil {
		return err
	}
	d.alarms, err = notifier(d.cfg, d.secrets, d.cfg.Page(), session.Unwatched{Session: d.session}, d.o.Log)
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
	owner.Go(func() { d.dates.watch(owning) })
	owner.Go(func() { d.drift.run(owning) })
	owner.Go(func() { d.thermometer.run(owning) })
	owner.Go(func() { d.meter.run(owning) })
	owner.Go(func() { d.machine.run(owning) })
	owner.Go(func() { d.heal(owning) })
	owner.Go(func() { d.checkRecord(owning) })
	owner.Go(func() { d.doChores(owning) })
	owner.Go(func() { d.doChecks(owning) })
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
				d.readers[i].ended.Store(reading.Err() == nil)
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
	owner.Go(func() { d.watch(owning) })
	owner.Go(func() { d.trimOnceStarted(owning) })

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
	room := d.awaitRoom(ctx)
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
