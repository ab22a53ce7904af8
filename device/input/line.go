package input

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"path/filepath"
	"sync"
	"time"

	"tramd/device"
	"tramd/device/serialport"
)

// Sources of a line.
const (
	SourceFile   = "file"
	SourceModem  = "modem"
	SourceModbus = "modbus"
)

// Spec describes a line.
type Spec struct {
	Name      string
	Source    string
	File      string        // of SourceFile
	Port      string        // of SourceModem
	Signal    string        // of SourceModem: one of SignalNames
	ActiveLow bool          // it is on where it reads 0
	Debounce  time.Duration // for which a change must hold
	Every     time.Duration // from one reading to the next; 0: DefaultEvery
	Stale     time.Duration // a reading older than that is none; 0: DefaultStale
}

// What holds where a spec says nothing. The debounce time of a line is what it is: 0 is none.
const (
	DefaultEvery = 100 * time.Millisecond
	DefaultStale = 2 * time.Second
)

// SignalNames are the modem lines that may be an input.
var SignalNames = []string{"CTS", "DSR", "DCD", "RI"}

// Status is a line at one moment.
type Status struct {
	State State
	Since device.Stamp // when it began
	Err   string       // what is wrong and what to do about it; empty when nothing is
}

// Line is one input line. Its methods may be called from any goroutine and never wait.
type Line struct {
	spec  Spec
	log   *slog.Logger
	modem func(path string) (modem, error)

	mu     sync.Mutex
	filter Filter
	err    string
}

type modem interface {
	io.Closer
	Signals() (serialport.Signals, error)
}

// New makes a line that is unknown until it is read. Its errors say what to write instead.
func New(s Spec, log *slog.Logger) (*Line, error) {
	if s.Every == 0 {
		s.Every = DefaultEvery
	}
	if s.Stale == 0 {
		s.Stale = DefaultStale
	}
	if err := s.check(); err != nil {
		return nil, fmt.Errorf("input %q: %w", s.Name, err)
	}
	if log == nil {
		log = slog.New(slog.DiscardHandler)
	}
	l := &Line{spec: s, log: log.With("input", s.Name), filter: Filter{Debounce: s.Debounce, Stale: s.Stale}}
	l.filter.since = device.Now()
	l.modem = func(path string) (modem, error) {
		m, err := serialport.OpenModem(path)
		if err != nil {
			return nil, err // never a nil *Modem inside an interface
		}
		return m, nil
	}
	return l, nil
}

func (s Spec) check() error {
	switch {
	case s.Name == "":
		return errors.New("it has no name: give it one")
	case s.Source != SourceFile && s.Source != SourceModem && s.Source != SourceModbus:
		return fmt.Errorf(`source %q; write "file", "modem" or "modbus"`, s.Source)
	case s.Source == SourceFile && !filepath.IsAbs(s.File):
		return fmt.Errorf("file %q; write the whole path of a file that says 0 or 1", s.File)
	case s.Source == SourceModem && s.Port == "":
		return errors.New("no port: write its path, as ls -l /dev/serial/by-id shows it")
	case s.Source == SourceModem && signal(serialport.Signals{}, s.Signal) == nil:
		return fmt.Errorf(`signal %q; write "CTS", "DSR", "DCD" or "RI"`, s.Signal)
	case s.Debounce < 0 || s.Every <= 0 || s.Stale <= 0:
		return errors.New("a time below zero: write a positive one")
	case s.Stale < 2*s.Every:
		return fmt.Errorf("it is read each %v, so what is %v old cannot be too old: write twice as long at least",
			s.Every, s.Stale)
	}
	return nil
}

// Name is the line's name.
func (l *Line) Name() string { return l.spec.Name }

// Feed takes a reading that was asked for elsewhere, before the active level is looked at.
func (l *Line) Feed(at device.Stamp, high bool) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.filter.Level(at, high != l.spec.ActiveLow)
}

// State is what is known of the line now.
func (l *Line) State() State { return l.Status().State }

// Status is State with what is wrong.
func (l *Line) Status() Status {
	l.mu.Lock()
	defer l.mu.Unlock()
	s, since := l.filter.At(device.Now())
	return Status{State: s, Since: since, Err: l.err}
}

// OnFor is how long the line has been on in all; see Filter.
func (l *Line) OnFor() time.Duration {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.filter.OnFor()
}

// openAgain is how long a port that cannot be opened is left alone.
const openAgain = time.Second

// Run reads the line until ctx ends. A line over Modbus is fed, and has nothing to run.
func (l *Line) Run(ctx context.Context) {
	switch l.spec.Source {
	case SourceFile:
		l.poll(ctx, func() (bool, error) { return readFile(l.spec.File) }, false)
	case SourceModem:
		for ctx.Err() == nil {
			l.overModem(ctx)
			sleep(ctx, openAgain)
		}
	}
}

func (l *Line) overModem(ctx context.Context) {
	port, err := l.modem(l.spec.Port)
	if err != nil {
		l.note(err)
		return
	}
	l.poll(ctx, func() (bool, error) {
		all, err := port.Signals()
		if err != nil {
			return false, err
		}
		return *signal(all, l.spec.Signal), nil
	}, true)
	if err := port.Close(); err != nil {
		l.log.Warn("the port was not closed cleanly", "error", err)
	}
}

// poll reads the line at its pace until ctx ends, or, where once is set, until it cannot be read.
func (l *Line) poll(ctx context.Context, read func() (bool, error), once bool) {
	tick := time.NewTicker(l.spec.Every)
	defer tick.Stop()
	for {
		high, err := read()
		if err == nil {
			l.Feed(device.Now(), high)
		}
		if l.note(err); err != nil && once {
			return
		}
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
		}
	}
}

// note keeps what is wrong, and logs it once a change.
func (l *Line) note(err error) {
	text := ""
	if err != nil {
		text = err.Error()
	}
	l.mu.Lock()
	news := (l.err == "") != (text == "")
	l.err = text
	if err != nil {
		l.filter.Lost(device.Now())
	}
	l.mu.Unlock()
	switch {
	case !news:
	case err != nil:
		l.log.Warn("the input cannot be read; it counts as unknown", "error", err)
	default:
		l.log.Info("the input can be read again")
	}
}

func signal(s serialport.Signals, name string) *bool {
	switch name {
	case "CTS":
		return &s.CTS
	case "DSR":
		return &s.DSR
	case "DCD":
		return &s.DCD
	case "RI":
		return &s.RI
	}
	return nil
}

func sleep(ctx context.Context, d time.Duration) {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-ctx.Done():
	case <-t.C:
	}
}
