package session

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"math"
	"sync"
	"time"

	"tramd/cmd/tramd/internal/api"
	"tramd/cmd/tramd/internal/interlock"
	"tramd/device"
	"tramd/device/frame"
	"tramd/sweep"
	"tramd/sweep/units"
)

// IndicatorRoute says which samples are the readings of an indicator of the setup.
type IndicatorRoute struct {
	Device  int    // index of the device whose port it is on
	Channel string // only samples of this channel; empty = all
	Delay   time.Duration
}

// AngleRoute says where the spindle angle comes from.
type AngleRoute struct {
	Device    int // -1: no device (stations)
	Delay     time.Duration
	Encoder   sweep.EncoderOptions
	Stations  sweep.StationOptions
	TypedUnit units.Length  // of a typed reading without a unit
	Steady    *sweep.Steady // constant turning; Device gives its index pulses, -1 for a start mark alone

	ZeroUDeg    float64   // standard uncertainty of a configured zero, in degrees
	ZeroUnknown bool      // the configuration does not say where 0 degrees is
	IndexMark   bool      // the encoder has an index mark
	Kept        *KeptZero // the zero that a person pointed last; nil: none was stored for this encoder
}

// Port is a device as the session sees it.
type Port struct {
	Name, Role, Path string
	Status           func() device.Status
	Ask              func() // asks the instrument once; nil: it sends by itself, or is asked at its own pace
}

// Options are everything a session is made of.
type Options struct {
	Setup      sweep.Setup
	Indicators []IndicatorRoute // one for each of Setup.Indicators
	Angle      AngleRoute
	Position   PositionRoute
	Motion     *Motion              // nil: no program moves the arm
	OpenSteps  OpenLine             // to the controller that moves an axis along a traverse; nil: none does
	Interlock  *interlock.Interlock // says whether anything may be moved; nil: nothing ever is
	Ports      []Port               // by device index
	Idle       time.Duration
	BothWays   bool             // a sweep by an encoder goes round, and back
	Wall       func() time.Time // the time of day, for what is shown and stored alone; nil = time.Now
	Archive    Archive
	Unstored   error    // why nothing can be stored from the start; nil: it can
	Backlog    *Backlog // what an earlier session could not store; nil: all was
	Fit        func([]sweep.Point, sweep.Setup) (sweep.Result, error)
	// fits what is no sweep; nil: nothing else is measured
	Measure func(Measurement, []sweep.Point, *Spots) (Found, error)
	// for what is shown while the arm turns; nil: running sums alone
	Follow   FollowFunc
	ClockSet func() bool
	Log      *slog.Logger
	Last     *api.LastRun          // from the store, at start
	Counts   map[api.RunKey]uint64 // from the store, at start
	// the machine's input lines; nil: there are none. This and the next never wait
	Inputs   func() []api.InputState
	Hours    func() *api.HoursState                // of the spindle; nil: nothing counts them
	KeepZero func(context.Context, KeptZero) error // stores a zero that a person pointed; nil: it is not stored
	// called with how long bytes may wait to be read; at first not at all. May be nil
	Latency func(time.Duration)
	ReadNow func() // has what waits read before somebody looks; nil: nothing waits
}

// staleAfter is the age at which a reading or an angle is no longer shown as the present one.
const staleAfter = 2 * time.Second

// Session owns the live state. Make it with New, run it with Run.
type Session struct {
	o       Options
	archive *writeQueue
	ended   chan struct{}
	beats   pulse

	mu        sync.Mutex // guards what follows, the job included
	stopped   bool
	encoder   *sweep.Encoder
	scale     *scaled // nil: none is configured
	zero      zeroing // of the encoder
	emit      func(sweep.Point)
	latest    []latest // per indicator
	pair      *pairZero
	angleAt   device.Stamp
	last      *api.LastRun
	counts    map[api.RunKey]uint64
	drift     *api.DriftState
	assembly  []api.StandingState
	nextWhy   string
	next      *time.Time        // when the next check is due
	troubles  map[string]string // by kind: why
	damaged   string            // how the record is; empty: it is not
	aside     []aside           // runs that have ended and are not stored, in order
	nextRun   int64             // the highest number that a run was given here
	check     *api.CheckState   // nil: no unattended checks are planned
	job       *job
	comebacks uint64       // reconnects of the angle device seen
	jumps     int          // of the encoder seen
	pressedAt device.Stamp // when the trigger port last sent something
	fits      chan fitted
	watched   time.Time     // when a snapshot was last asked for
	latency   time.Duration // what the ports heard last

	motions    sync.WaitGroup
	motionCtx  context.Context // ends with the session; programs under way are stopped
	stopMotion context.CancelFunc

	// for tests: called under the lock after each batch that brought points, with how many there are
	onPoints func(n int)
}

type latest struct {
	at device.Stamp
	mm units.Length
	n  uint64 // readings so far

	before [2]units.Length // the two readings before mm, the newer one first
	held   int             // how many of them came in one stream with it

	contact *sweep.Contact
}

const (
	// readings further apart are no stream: each is sent for its own sake
	streamGap = device.Stamp(500 * time.Millisecond)
	quietMM   = 0.01 // a step that any reading may take
	// a hand that moves something takes steps of like size, one after the other
	paceTimes = 4
)

// take takes a reading.
func (l *latest) take(at device.Stamp, mm units.Length) {
	held := min(l.held+1, len(l.before))
	if l.at == 0 || at-l.at > streamGap {
		held = 0
	}
	*l = latest{at: at, mm: mm, n: l.n + 1, before: [2]units.Length{l.mm, l.before[0]}, held: held, contact: l.contact}
	if l.contact != nil {
		l.contact.Add(at.Seconds(), l.shown().MM())
	}
}

// agreed is the median of the last three readings: what at least two lines say, or lie on both sides of. Of two it is
// the first.
func (l latest) agreed() units.Length {
	switch l.held {
	case 0:
		return l.mm
	case 1:
		return l.before[0]
	}
	a, b, c := l.mm, l.before[0], l.before[1]
	return max(min(a, b), min(max(a, b), c))
}

// shown is the newest reading, but for a jump that it alone shows: a step far above the one before, which the next
// reading bears out or not. Of two nothing says which is the wrong one.
func (l latest) shown() units.Length {
	step, before := math.Abs((l.mm - l.before[0]).MM()), math.Abs((l.before[0] - l.before[1]).MM())
	if l.held > 1 && step > math.Max(quietMM, paceTimes*before) {
		return l.agreed()
	}
	return l.mm
}

// New makes a session.
func New(o Options) (*Session, error) {
	if err := o.Setup.Validate(); err != nil {
		return nil, err
	}
	if len(o.Indicators) != len(o.Setup.Indicators) {
		return nil, errors.New("each indicator needs one route")
	}
	if o.Idle <= 0 {
		o.Idle = 5 * time.Minute
	}
	if o.Log == nil {
		o.Log = slog.New(slog.DiscardHandler)
	}
	if o.Wall == nil {
		o.Wall = time.Now
	}
	if o.ClockSet == nil {
		o.ClockSet = func() bool { return true }
	}
	s := &Session{
		o: o, fits: make(chan fitted, 1), ended: make(chan struct{}),
		archive: newWriteQueue(o.Archive, o.Unstored, o.Log), latest: make([]latest, len(o.Indicators)),
		last: o.Last, counts: map[api.RunKey]uint64{}, troubles: map[string]string{},
	}
	for i := range s.latest {
		s.latest[i].contact = sweep.NewContact(o.Setup.Indicators[i], o.Indicators[i].Delay.Seconds())
	}
	s.motionCtx, s.stopMotion = context.WithCancel(context.Background())
	for k, n := range o.Counts {
		s.counts[k] = n
	}
	if (s.o.Motion != nil || s.o.OpenSteps != nil) && s.o.Interlock == nil {
		return nil, errors.New("a motion needs its interlock")
	}
	if o.Angle.Device >= 0 && o.Angle.Steady == nil {
		s.encoder = sweep.NewEncoder(o.Angle.Encoder)
	}
	s.scale = s.newScaled()
	s.archive.keepZero = o.KeepZero
	s.archive.renumber = func(from, to int64) { s.locked(func() { s.renumber(from, to) }) }
	s.take(o.Backlog)
	s.beginZero()
	s.emit = s.point
	s.beats.beat()
	s.archive.beats.beat()
	return s, nil
}

// Sink takes a batch on the goroutine of a device's reader. Everything done under the lock is short: nothing there
// waits for a disk, a fit or a face.
func (s *Session) Sink(b device.Batch) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.stopped {
		return
	}
	if b.Device == s.o.Angle.Device && s.encoder == nil {
		s.pulses(b.Samples)
	} else if b.Device == s.o.Angle.Device {
		s.angle(b.Samples)
	} else if s.scale != nil && b.Device == s.scale.o.Device {
		s.scale.counts(b.Samples)
	} else if s.o.Ports[b.Device].Role == api.TriggerRole {
		s.pressed(b.Samples)
	} else {
		s.readings(b.Device, b.Samples)
	}
	if s.onPoints != nil && s.job != nil {
		s.onPoints(s.job.points.n)
	}
}

// Run keeps the session going until ctx ends. A sweep in hand is then ended as abandoned, with its readings stored.
func (s *Session) Run(ctx context.Context) error {
	var wg sync.WaitGroup
	writes, stopWrites := context.WithCancel(context.WithoutCancel(ctx))
	wg.Go(func() { s.archive.run(writes) })
	defer func() {
		close(s.ended)
		stopWrites()
		wg.Wait()
	}()
	tick := time.NewTicker(100 * time.Millisecond)
	defer tick.Stop()
	for {
		select {
		case f := <-s.fits:
			s.locked(func() { s.fitDone(f) })
		case <-tick.C:
			s.locked(func() {
				s.tick(time.Now())
				s.watchPair(device.Now(), s.angleState(device.Now()).Deg)
				s.follow(time.Now())
				s.agree()
			})
			s.beats.beat()
		case <-ctx.Done():
			s.windDown()
			return nil
		}
	}
}

func (s *Session) locked(f func()) {
	s.mu.Lock()
	defer s.mu.Unlock()
	f()
}

// errStopped answers requests to a session that has ended.
var errStopped = errors.New("the daemon is stopping")

// ask runs f on the live state. It waits for the lock no longer than ctx lasts.
func (s *Session) ask(ctx context.Context, f func()) error {
	if err := s.lock(ctx); err != nil {
		return err
	}
	defer s.mu.Unlock()
	if s.stopped {
		return errStopped
	}
	f()
	return nil
}

// lock takes the lock, or gives up when ctx ends. The lock is held for moments, so trying again soon is seldom needed.
func (s *Session) lock(ctx context.Context) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	for wait := 20 * time.Microsecond; !s.mu.TryLock(); wait = min(2*wait, 5*time.Millisecond) {
		select {
		case <-ctx.Done():
			return fmt.Errorf("the daemon is too busy to answer: %w", ctx.Err())
		case <-time.After(wait):
		}
	}
	return nil
}

func (s *Session) angle(samples []device.Sample) {
	delay := s.o.Angle.Delay.Seconds()
	for _, x := range samples {
		t := x.At.Seconds() - delay
		s.encoder.Slack((samples[len(samples)-1].At - x.At).Seconds())
		switch x.Kind {
		case frame.Count:
			s.encoder.AddCount(t, x.Value, x.Mark, s.emit)
		case frame.Angle:
			s.encoder.AddDegrees(t, float64(x.Value)/1e6, x.Mark, s.emit)
		case frame.Index:
			s.encoder.AddIndex(t)
		}
		s.angleAt = x.At
		s.watchStill(t)
	}
	s.keepZero()
	for slip, ok := s.encoder.Slip(); ok; slip, ok = s.encoder.Slip() {
		s.slipped(slip)
	}
}

func (s *Session) readings(dev int, samples []device.Sample) {
	for _, x := range samples {
		if x.Kind != frame.Length {
			continue
		}
		for i, r := range s.o.Indicators {
			if r.Device != dev || (r.Channel != "" && r.Channel != x.Channel) {
				continue
			}
			s.latest[i].take(x.At, x.Length())
			if s.job == nil || s.job.phase == api.PhaseFitting {
				continue
			}
			t := x.At.Seconds() - r.Delay.Seconds()
			if at, ours := s.job.slot(i); ours {
				s.job.source.reading(s, s.job, at, t, x.Length().MM())
			}
		}
	}
}

// point takes a tagged reading from the encoder.
func (s *Session) point(p sweep.Point) {
	if j := s.job; j != nil && j.phase != api.PhaseFitting {
		if a, turned := j.source.(*turnedArm); turned {
			a.point(s, j, p)
		}
	}
}
