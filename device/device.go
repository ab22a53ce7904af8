package device

import (
	"errors"
	"fmt"
	"log/slog"
	"maps"
	"os"
	"sync"
	"sync/atomic"
	"time"

	"tramd/device/capture"
	"tramd/device/frame"
	"tramd/device/serialport"
)

// Batch is what one read of a port brought.
type Batch struct {
	Device  int      // the index given to New
	Samples []Sample // valid only during the call of the sink
}

// Sink takes batches on the reader's goroutine. While it works no port is read, so it must not wait for a disk or a
// network.
type Sink func(Batch)

// State is how far a device has come.
type State string

// States of a device.
const (
	StateAbsent   State = "absent"   // the port is not there
	StateOpening  State = "opening"  // the port is there and is being opened, or refuses (see Status.Err)
	StateSettling State = "settling" // open, no reading yet
	StateLive     State = "live"     // open, readings have come
	StateLost     State = "lost"     // was open and went away
)

// Talk says whether the instrument behind an open port sends. A port can be open for hours behind which nothing lives.
type Talk string

// Talks of an instrument. While the port is not open it is empty.
const (
	Talking     Talk = "talking"
	Silent      Talk = "silent"       // it ought to send, and does not
	NotExpected Talk = "not_expected" // silence means nothing: a foot switch, or an instrument that sends when it likes
)

// Status is a device at one moment.
type Status struct {
	State      State
	Talk       Talk
	SilentFor  time.Duration     // the silence from which an instrument counts as silent
	Since      Stamp             // when State began
	Readings   uint64            // samples handed to the sink
	Faults     map[string]uint64 // refused lines by reason; every reason is present
	Reconnects uint64            // opens after the first
	Err        string            // what is wrong and what to do about it; empty when nothing is
	Unanswered map[string]string // by channel, why an instrument that is asked gives no reading
	LastAt     Stamp             // of the last sample; 0: none yet

	Asked, Answered uint64        // questions to an instrument that is asked, and how many were answered
	AnswerDelay     time.Duration // from the latest question to its answer's last byte
}

// Open reports whether the port is open, whatever comes through it.
func (s Status) Open() bool { return s.State == StateSettling || s.State == StateLive }

// Up reports whether the instrument is there as far as anyone can tell: its port is open, and it sends where it ought
// to.
func (s Status) Up() bool { return s.Talk == Talking || s.Talk == NotExpected }

// Device keeps one port alive and decodes it.
type Device struct {
	index   int
	spec    Spec
	sink    Sink
	log     *slog.Logger
	lockDir string
	quiet   time.Duration     // silence after an open that proves a clean start
	ended   chan struct{}     // closed when a replay has no more
	rec     *capture.Recorder // nil: nothing is recorded; belongs with dec
	dec     frame.Decoder     // belongs to whoever reads: Run's goroutine or the poller's

	interval interval     // under mu
	latency  atomic.Int64 // nanoseconds; see SetLatency

	requests *requests    // nil: the instrument speaks by itself
	holder   frame.Holder // nil: the framer holds nothing back
	lastRead Stamp        // of a port that is read alone

	mu      sync.Mutex
	status  Status
	opens   uint64
	alone   *os.File          // a port that is read alone; nil: not open
	wanted  bool              // a reading is asked for
	bounded bool              // a read has a bound
	mute    map[string]int    // how often in a row a question was not answered
	refused map[string]string // what an instrument said it cannot answer, and why
}

// New makes a device that is not running yet. Its errors say which device and what to write instead.
func New(index int, spec Spec, sink Sink, log *slog.Logger) (*Device, error) {
	spec, err := spec.withDefaults()
	if err != nil {
		return nil, err
	}
	if sink == nil {
		return nil, fmt.Errorf("device %q: %w", spec.Name, errors.New("no sink: readings would be lost"))
	}
	if log == nil {
		log = slog.New(slog.DiscardHandler)
	}
	fr := spec.layout().Framer()
	d := &Device{
		index: index, spec: spec, sink: sink, lockDir: serialport.LockDir, quiet: quietStart,
		log:    log.With("device", spec.Name, "port", spec.Port),
		ended:  make(chan struct{}),
		dec:    frame.NewDecoder(fr, spec.Baud),
		status: Status{State: StateAbsent, Since: Now(), Faults: fr.Faults()},
		mute:   map[string]int{}, refused: map[string]string{},
	}
	if a, ok := fr.(frame.Requester); ok {
		d.requests = newRequests(a, spec)
	}
	d.holder = frame.AsHolder(fr)
	return d, nil
}

// Spec gives the spec with its defaults filled in.
func (d *Device) Spec() Spec { return d.spec }

// Ended is closed when no more can come: a replayed capture has been played to its end, or cannot be opened (see
// Status.Err). It never is for a live port.
func (d *Device) Ended() <-chan struct{} { return d.ended }

// SetLatency sets how long bytes may wait to be read while they come fast, so that one wake-up takes several lines. At
// 0, as at the start, none waits longer than a millisecond or two. It may be called at any time.
func (d *Device) SetLatency(wait time.Duration) {
	wait = max(0, wait)
	if before := d.latency.Swap(int64(wait)); int64(wait) < before {
		thePoller.hurry()
	}
}

// ReadNow has what lies at the ports of the process read, so that the sinks have been called with it, and waits for
// that no longer than atMost. With it a latency may be long, and who looks still sees the newest reading.
func ReadNow(atMost time.Duration) { thePoller.readNow(atMost) }

// Status may be called from any goroutine.
func (d *Device) Status() Status {
	d.mu.Lock()
	defer d.mu.Unlock()
	s := d.status
	s.Faults = maps.Clone(s.Faults)
	if s.Err == "" && (s.State == StateSettling || s.State == StateLive) {
		s.Unanswered, s.Err = d.unanswered()
	}
	d.talk(&s, Now())
	return s
}

// become changes the state and logs it once, and once more when something turns out to be wrong in it. The words of an
// error may differ at every retry (they can hold a port number of our own), so they alone are no news.
func (d *Device) become(s State, err string) {
	d.mu.Lock()
	same := d.status.State == s && (d.status.Err != "") == (err != "")
	if d.status.State != s {
		d.status.Since = Now()
	}
	d.status.State, d.status.Err = s, err
	d.mu.Unlock()
	switch {
	case same:
	case err != "":
		d.log.Warn("device is "+string(s), "err", err)
	default:
		d.log.Info("device is " + string(s))
	}
}

// deliver counts a read's samples and faults, then hands the samples on.
func (d *Device) deliver(samples []Sample, faultsBefore uint64) {
	d.mu.Lock()
	if d.dec.FaultTotal() != faultsBefore {
		d.status.Faults = d.dec.Faults()
	}
	n := len(samples)
	settled := n > 0 && d.status.State == StateSettling
	if n > 0 {
		d.status.Readings += uint64(n)
		d.interval.count(n, d.status.LastAt, samples[n-1].At)
		d.status.LastAt = samples[n-1].At
	}
	d.mu.Unlock()
	if settled {
		d.become(StateLive, "")
	}
	if n > 0 {
		d.sink(Batch{Device: d.index, Samples: samples})
	}
}
