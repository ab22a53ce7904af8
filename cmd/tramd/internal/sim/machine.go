package sim

import (
	"context"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"sync"
	"time"
)

// The names of the two ports, for Unplug and Replug.
const (
	Indicator = "indicator"
	Encoder   = "encoder"
)

// Machine is a simulated machine that runs until Close.
type Machine struct {
	params    Params
	dir       string
	indicator *port
	encoder   *port
	origin    time.Time
	stop      context.CancelFunc
	running   sync.WaitGroup

	mu       sync.Mutex
	truth    Truth
	offsetMM float64
	hand     turning
	handRng  *rand.Rand
	done     chan struct{} // closed when the hand has let go
	timer    *time.Timer   // closes done; nil before the first turn
	closed   bool
}

// Start opens two pseudo-terminals and begins to write lines to them. The lines stop when ctx ends; Close frees the
// rest.
func Start(ctx context.Context, p Params) (*Machine, error) {
	if err := p.validate(); err != nil {
		return nil, err
	}
	dir, err := os.MkdirTemp("", "tramd-sim-")
	if err != nil {
		return nil, fmt.Errorf("make a place for the simulated ports: %w", err)
	}
	m := &Machine{params: p, dir: dir, origin: time.Now(), truth: p.Truth, offsetMM: p.OffsetMM,
		handRng: rand.New(rand.NewPCG(p.Seed, 1)), done: make(chan struct{})}
	m.params.Form = append([]Harmonic(nil), p.Form...)
	close(m.done)
	if m.indicator, err = openPort(filepath.Join(dir, Indicator)); err != nil {
		return nil, errors.Join(err, os.RemoveAll(dir))
	}
	if m.encoder, err = openPort(filepath.Join(dir, Encoder)); err != nil {
		return nil, errors.Join(err, m.indicator.unplug(), os.RemoveAll(dir))
	}
	ctx, m.stop = context.WithCancel(ctx)
	m.running.Go(func() { m.runIndicator(ctx) })
	m.running.Go(func() { m.runEncoder(ctx) })
	return m, nil
}

// IndicatorPath names the port with the readings. It stays the same when the port is unplugged and plugged in again.
func (m *Machine) IndicatorPath() string { return m.indicator.link }

// EncoderPath names the port with the counts.
func (m *Machine) EncoderPath() string { return m.encoder.link }

// Truth says how the spindle leans now.
func (m *Machine) Truth() Truth {
	m.mu.Lock()
	defer m.mu.Unlock()
	return m.truth
}

// Angle says where the arm points now, in degrees, counted on over whole turns.
func (m *Machine) Angle() float64 {
	m.mu.Lock()
	defer m.mu.Unlock()
	return m.hand.angle(m.now())
}

// Turn lets the hand turn the arm from where it is, counter-clockwise for positive turns, at rpm on the average but not
// evenly. It returns at once; a turn still going on is given up. Without a finite turns and a positive rpm the arm
// rests.
func (m *Machine) Turn(turns, rpm float64) {
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.closed {
		return
	}
	if m.timer != nil && m.timer.Stop() {
		close(m.done)
	}
	m.timer = nil
	now := m.now()
	from := m.hand.angle(now)
	seconds := math.Abs(turns) / rpm * 60
	if !(rpm > 0) || !(seconds > 0 && seconds < 1e6) {
		m.hand = turning{fromDeg: from, toDeg: from}
		return
	}
	m.hand = newTurning(m.handRng, now, from, turns, rpm)
	done := make(chan struct{})
	m.done = done
	m.timer = time.AfterFunc(m.hand.length, func() { close(done) })
}

// TurnDone gives a channel that is closed when the present turn has ended (or was given up, or never began).
func (m *Machine) TurnDone() <-chan struct{} {
	m.mu.Lock()
	defer m.mu.Unlock()
	return m.done
}

// The adjuster turns the head about a point that is not under the spindle, and each axis upsets the other a little.
const (
	tiltByTilt, tiltByNod = 0.97, 0.05
	nodByTilt, nodByNod   = -0.07, 0.95
	pivotXMM, pivotYMM    = 10.0, 60.0
)

// Adjust moves the head by about so much, in mm/m. What came of it is what Truth then says. A parked arm sees the head
// turn about the pivot, so the offset moves too.
func (m *Machine) Adjust(dTilt, dNod float64) {
	m.mu.Lock()
	defer m.mu.Unlock()
	tilt := tiltByTilt*dTilt + tiltByNod*dNod
	nod := nodByTilt*dTilt + nodByNod*dNod
	m.truth.TiltMMPerM += tilt
	m.truth.NodMMPerM += nod
	m.offsetMM -= (pivotXMM*tilt + pivotYMM*nod) / 1000
}

// Lines counts the lines of a port that went out, and those dropped because no reader took them.
func (m *Machine) Lines(which string) (written, dropped uint64) {
	if p := m.port(which); p != nil {
		return p.counts()
	}
	return 0, 0
}

// Unplug takes a port away, as when its cable is pulled.
func (m *Machine) Unplug(which string) error {
	m.mu.Lock()
	defer m.mu.Unlock()
	p := m.port(which)
	if p == nil {
		return fmt.Errorf("unplug %q: no such port, write %q or %q", which, Indicator, Encoder)
	}
	return p.unplug()
}

// Replug brings a port back under the same path.
func (m *Machine) Replug(which string) error {
	m.mu.Lock()
	defer m.mu.Unlock()
	p := m.port(which)
	switch {
	case p == nil:
		return fmt.Errorf("plug in %q: no such port, write %q or %q", which, Indicator, Encoder)
	case m.closed:
		return fmt.Errorf("plug in %s: the machine is closed", which)
	}
	return p.plug()
}

// Close ends the machine and takes its ports away. A second Close does nothing.
func (m *Machine) Close() error {
	m.mu.Lock()
	if m.closed {
		m.mu.Unlock()
		return nil
	}
	m.closed = true
	if m.timer != nil && m.timer.Stop() {
		close(m.done)
	}
	m.mu.Unlock()
	m.stop()
	m.running.Wait()
	return errors.Join(m.indicator.unplug(), m.encoder.unplug(), os.RemoveAll(m.dir))
}

func (m *Machine) port(which string) *port {
	switch which {
	case Indicator:
		return m.indicator
	case Encoder:
		return m.encoder
	}
	return nil
}

func (m *Machine) now() time.Duration { return time.Since(m.origin) }
