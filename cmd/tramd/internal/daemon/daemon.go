package daemon

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"os"
	"sync"
	"sync/atomic"
	"time"

	"tramd/cmd/tramd/internal/alarm"
	"tramd/cmd/tramd/internal/clock"
	"tramd/cmd/tramd/internal/config"
	"tramd/cmd/tramd/internal/metrics"
	"tramd/cmd/tramd/internal/notify"
	"tramd/cmd/tramd/internal/session"
	"tramd/cmd/tramd/internal/web"
	"tramd/device"
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
	Manager *notify.Manager     // nil: nobody watches over the daemon
	Reload  <-chan os.Signal    // nil: the configuration is read once
	Load    func() (*config.Config, error)
}

// Daemon is a running program.
type Daemon struct {
	o       Options
	cfg     *config.Config
	store   *store.Store
	clock   *clock.Watcher
	dates   *dates
	drift   *drifting
	warmth  *thermometer
	devices []*device.Device
	readers []*reader // of the devices
	session *session.Session
	saved   string        // what became of a damaged record; empty: it was whole
	alarms  *alarm.Teller // nil: nobody is to be told
	servers []server
	done    chan struct{}          // closed when the pages must end
	started bool                   // everything listened
	refused atomic.Pointer[string] // why the last new configuration was not taken; nil: it was
}

type server struct {
	http   *http.Server
	listen net.Listener
}

// once runs the daemon until ctx ends, or until there is another configuration to run it with.
func (d *Daemon) once(ctx context.Context) (next *config.Config, err error) {
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
	d.warmth = &thermometer{file: d.cfg.Temperature.File, log: d.o.Log}
	specs, indicators, angle := routes(d.cfg)
	var ports []session.Port
	for i, spec := range specs {
		r := &reader{name: spec.Name}
		dev, err := device.New(i, spec, r.handsOn(func(b device.Batch) { d.session.Sink(b) }), d.o.Log)
		if err != nil {
			return err
		}
		d.devices, d.readers = append(d.devices, dev), append(d.readers, r)
		ports = append(ports, session.Port{Name: spec.Name, Role: spec.Role.String(), Path: spec.Port, Status: dev.Status})
	}
	d.session, err = session.New(session.Options{
		Setup: d.cfg.Setup(), Indicators: indicators, Angle: angle, Ports: ports, Idle: d.cfg.Sweep.Idle(),
		Archive: &archive{store: d.store, clockSet: d.clock.IsSet, changed: d.drift.changed, temperature: d.warmth.Now}, Fit: d.fit, ClockSet: d.clock.IsSet, Log: d.o.Log,
		Last: past.last, Counts: past.counts,
		Patience: func(wait time.Duration) {
			for _, dev := range d.devices {
				dev.SetPatience(wait)
			}
		},
	})
	if err != nil {
		return err
	}
	d.alarms, err = teller(d.cfg, d.session, d.o.Log)
	return err
}

// listen takes the addresses before anything is served, so that a taken one is an error and not a surprise.
func (d *Daemon) listen() error {
	hash, err := d.cfg.HTTP.Hash()
	if err != nil {
		return err
	}
	tcp, err := net.Listen("tcp", d.cfg.HTTP.Listen)
	if err != nil {
		return fmt.Errorf("cannot serve the page on %s: %w; write another http.listen", d.cfg.HTTP.Listen, err)
	}
	unix, err := listenSocket(d.cfg.Control.Socket)
	if err != nil {
		return errors.Join(err, tcp.Close())
	}
	common := web.Options{
		Live: d.session, Records: &records{d.store, d.clock.IsSet, d.drift.changed, d.cfg}, Drift: d.drift, Sweeps: d.session, Imports: imports{d}, Indicators: d.cfg.Setup().Indicators,
		Metrics: metrics.Handler(metrics.Options{Live: d.session, Version: d.o.Version, Free: d.store.Free}, d.o.Log), Hosts: d.cfg.HTTP.Hosts,
		PasswordHash: hash, Log: d.o.Log, Done: d.done,
		Advice: func(ctx context.Context) (any, error) { return Advise(ctx, d.store, d.cfg) },
	}
	local := common
	local.Local = true
	for _, s := range []struct {
		listen net.Listener
		o      web.Options
	}{{tcp, common}, {unix, local}} {
		d.servers = append(d.servers, server{listen: s.listen, http: &http.Server{
			Handler:           web.Handler(s.o),
			ReadHeaderTimeout: 5 * time.Second,
			ReadTimeout:       15 * time.Second, // no WriteTimeout: streams set a deadline for each write
			IdleTimeout:       60 * time.Second,
			MaxHeaderBytes:    16 << 10,
			ErrorLog:          slog.NewLogLogger(d.o.Log.Handler(), slog.LevelDebug),
		}})
	}
	return nil
}

func (d *Daemon) serve(ctx context.Context) (*config.Config, error) {
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
	owner.Go(func() { d.warmth.run(owning) })
	owner.Go(func() { d.checkRecord(owning) })
	owner.Go(func() { d.doChores(owning) })
	owner.Go(func() { d.doChecks(owning) })
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
			if err := s.http.Serve(s.listen); err != nil && !errors.Is(err, http.ErrServerClosed) {
				failed <- err
			}
		})
	}
	d.o.Log.Info("ready", "page", "http://"+d.servers[0].listen.Addr().String()+"/", "socket", d.cfg.Control.Socket)
	if d.o.Ready != nil {
		d.o.Ready(d.servers[0].listen.Addr())
	}

	d.started = true
	d.tell(d.o.Manager.Ready(d.status(ctx)))
	owner.Go(func() { d.watch(owning) })

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
	return next, err
}

// until waits for the end: of ctx, of a part that failed, or of the configuration in force.
func (d *Daemon) until(ctx context.Context, failed <-chan error) (*config.Config, error) {
	for {
		select {
		case <-ctx.Done():
			return nil, nil
		case err := <-failed:
			return nil, err
		case <-d.o.Reload:
			if next := d.reload(ctx); next != nil {
				return next, nil
			}
		}
	}
}
