package daemon

import (
	"context"
	"errors"
	"log/slog"
	"math"
	"sync"
	"time"

	"tramd/cmd/tramd/internal/clock"
	"tramd/cmd/tramd/internal/hours"
	"tramd/cmd/tramd/internal/session"
	"tramd/device"
	"tramd/device/input"
	"tramd/store"
)

// Hours are kept each minute in which they grew, so a kill costs a minute at the most, and a card one small write a
// minute while the spindle runs and none else.
const (
	keepEvery  = 55 * time.Second
	meterTick  = 5 * time.Second
	tellOdd    = 24 * time.Hour // what is odd about a counter becomes an event once in so long
	oneSecond  = 1.0 / 3600     // hours; less is not kept
	keepAtLast = 5 * time.Second
)

// meterStore is what the hours need of a store.
type meterStore interface {
	Meter(ctx context.Context) (*store.Meter, error)
	SetMeter(ctx context.Context, m store.Meter) error
	AddEvent(ctx context.Context, e store.Event) (int64, error)
}

// hourMeter keeps the spindle's hours: by a line that is on while it runs, by the machine's counter, or as a person
// typed them. What it shows is what is on disk, so that nothing shown is ever taken back by a kill.
type hourMeter struct {
	store    meterStore
	log      *slog.Logger
	clockSet func() bool
	from     string        // what counts them, for people; empty: they are typed
	line     *input.Line   // on while the spindle runs; nil: none is
	ranFor   time.Duration // of the line, as far as it is in the meter
	toldAt   device.Stamp

	saving sync.Mutex // held around whatever writes hours to the store, so that none overtakes another
	mu     sync.Mutex // guards what follows; never held while something waits
	meter  *hours.Meter
	kept   *store.Meter // on disk; nil: nothing is
	keptAt device.Stamp
	odd    string // what was noticed last and is no event yet
	err    string
}

func newHourMeter(ctx context.Context, s meterStore, from string, step float64, clockSet func() bool, log *slog.Logger) (*hourMeter, error) {
	kept, err := s.Meter(ctx)
	if err != nil && !errors.Is(err, store.ErrFull) { // a record that waits for room is read when it is opened
		return nil, err
	}
	h := &hourMeter{store: s, log: log, clockSet: clockSet, from: from, kept: kept}
	if kept == nil {
		h.meter = hours.New(nil, nil, step)
	} else {
		h.meter = hours.New(&kept.Hours, kept.Counter, step)
	}
	return h, nil
}

// read takes a reading of the machine's counter.
func (h *hourMeter) read(at device.Stamp, x float64) {
	h.mu.Lock()
	said := h.meter.Read(time.Duration(at), x)
	if said != "" {
		h.odd = said
	}
	h.mu.Unlock()
	if said != "" {
		h.log.Warn("the spindle's hours", "noticed", said)
	}
}

// now is what is to be kept; nil where nothing is known, or nothing counts.
func (h *hourMeter) now() *store.Meter {
	h.mu.Lock()
	defer h.mu.Unlock()
	if h.line != nil {
		on := h.line.OnFor()
		h.meter.Ran(on - h.ranFor)
		h.ranFor = on
	}
	x, known := h.meter.Hours()
	if !known || h.from == "" {
		return nil
	}
	return &store.Meter{Hours: x, Counter: h.meter.Counter()}
}

func (h *hourMeter) isKept(m store.Meter) {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.kept, h.keptAt, h.err = &m, device.Now(), ""
}

// keep writes the hours if there is news of them.
func (h *hourMeter) keep(ctx context.Context) {
	h.saving.Lock()
	defer h.saving.Unlock()
	m := h.now()
	h.mu.Lock()
	news := m != nil && (h.kept == nil || math.Abs(m.Hours-h.kept.Hours) >= oneSecond || (m.Counter == nil) != (h.kept.Counter == nil) ||
		m.Counter != nil && *m.Counter != *h.kept.Counter)
	h.mu.Unlock()
	if !news {
		return
	}
	if err := h.store.SetMeter(ctx, *m); err != nil {
		h.mu.Lock()
		first := h.err == ""
		h.err = "the hours cannot be kept: " + err.Error()
		h.keptAt = device.Now() // not again at once
		h.mu.Unlock()
		if first {
			h.log.Error("the spindle's hours cannot be kept", "error", err)
		}
		return
	}
	h.isKept(*m)
}

// run keeps the hours until ctx ends, and once more then.
func (h *hourMeter) run(ctx context.Context) {
	if h.from == "" {
		return
	}
	tick := time.NewTicker(meterTick)
	defer tick.Stop()
	for {
		select {
		case <-ctx.Done():
			last, cancel := context.WithTimeout(context.WithoutCancel(ctx), keepAtLast)
			defer cancel()
			h.keep(last)
			return
		case <-tick.C:
		}
		h.mu.Lock()
		due := h.kept == nil || time.Duration(device.Now()-h.keptAt) >= keepEvery
		h.mu.Unlock()
		if due {
			h.keep(ctx)
		}
		h.tell(ctx)
	}
}

// tell makes an event of what was noticed about a counter, so that it stands in the history.
func (h *hourMeter) tell(ctx context.Context) {
	h.mu.Lock()
	odd := h.odd
	h.mu.Unlock()
	now := device.Now()
	if odd == "" || h.toldAt != 0 && time.Duration(now-h.toldAt) < tellOdd {
		return
	}
	set := h.clockSet()
	if _, err := h.store.AddEvent(ctx, store.Event{At: time.Now(), Kind: "note", Text: odd, BootTime: clock.SinceBoot(), ClockUnset: !set}); err != nil {
		h.log.Warn("cannot store what was noticed about the spindle's hours", "error", err)
		return
	}
	h.toldAt = now
	h.mu.Lock()
	h.odd = ""
	h.mu.Unlock()
}

// begin stores a run's beginning with the hours in it.
func (h *hourMeter) begin(ctx context.Context, store func(*store.Meter) (int64, error)) (int64, error) {
	h.saving.Lock()
	defer h.saving.Unlock()
	m := h.now()
	id, err := store(m)
	if err == nil && m != nil {
		h.isKept(*m)
	}
	return id, err
}

// typed stores hours that a person types, and goes on from them.
func (h *hourMeter) typed(x float64, add func() (int64, error)) (int64, error) {
	h.saving.Lock()
	defer h.saving.Unlock()
	h.now() // what the line ran up to here is before the person's word
	id, err := add()
	if err != nil {
		return id, err
	}
	h.mu.Lock()
	defer h.mu.Unlock()
	h.meter.Type(x)
	kept := store.Meter{Hours: x}
	if h.kept != nil {
		kept.Counter = h.kept.Counter // the store's is as it was
	}
	h.kept = &kept
	return id, nil
}

// state is for the faces: what is on disk; nil where nothing counts.
func (h *hourMeter) state() *session.HoursState {
	h.mu.Lock()
	defer h.mu.Unlock()
	if h.from == "" {
		return nil
	}
	s := &session.HoursState{From: h.from, Error: h.err}
	if h.kept != nil {
		x := h.kept.Hours
		s.Hours = &x
	}
	return s
}
