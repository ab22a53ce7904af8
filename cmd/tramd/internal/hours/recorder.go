package hours

import (
	"context"
	"errors"
	"log/slog"
	"math"
	"sync"
	"time"

	"tramd/cmd/tramd/internal/api"
	"tramd/cmd/tramd/internal/clock"
	"tramd/device"
	"tramd/device/frame"
	"tramd/device/input"
	"tramd/store"
)

// Hours are kept each minute in which they grew, so a kill costs a minute at the most, and a card one small write a
// minute while the spindle runs and none else.
const (
	keepEvery  = 55 * time.Second
	meterTick  = 5 * time.Second
	noteEvery  = 24 * time.Hour // what is odd about a counter becomes an event once in so long
	oneSecond  = 1.0 / 3600     // hours; less is not kept
	keepAtLast = 5 * time.Second
)

// Store is what a Recorder needs of the record.
type Store interface {
	Meter(ctx context.Context) (*store.Meter, error)
	SetMeter(ctx context.Context, m store.Meter) error
	AddEvent(ctx context.Context, e store.Event) (int64, error)
}

// Options are what a Recorder is made of.
type Options struct {
	Store    Store
	Log      *slog.Logger
	ClockSet func() bool
	From     string      // what counts the hours, for people; empty: they are typed
	Line     *input.Line // on while the spindle runs; nil: none is
	Step     float64     // hours of one count of the machine's counter; 0 where none is read
}

// Recorder keeps the spindle's hours in the record: by a line that is on while it runs, by the machine's counter, or as
// a person typed them. It shows what is on disk, so that a kill takes back nothing that was shown.
type Recorder struct {
	Options
	ranFor  time.Duration // running time of the line that the meter has
	notedAt device.Stamp

	saving sync.Mutex // held around whatever writes hours to the store, so that none overtakes another
	mu     sync.Mutex // guards what follows; never held while something waits
	meter  *Meter
	kept   *store.Meter // on disk; nil: nothing is
	keptAt device.Stamp
	odd    string // what was noticed last and is no event yet
	err    string
}

// Open returns a recorder that goes on from what the record holds.
func Open(ctx context.Context, o Options) (*Recorder, error) {
	kept, err := o.Store.Meter(ctx)
	if err != nil && !errors.Is(err, store.ErrFull) { // a record that waits for room is read when it is opened
		return nil, err
	}
	h := &Recorder{Options: o, kept: kept}
	if kept == nil {
		h.meter = New(nil, nil, o.Step)
	} else {
		h.meter = New(&kept.Hours, kept.Counter, o.Step)
	}
	return h, nil
}

// Sink takes the readings of the machine's counter.
func (h *Recorder) Sink(b device.Batch) {
	for _, s := range b.Samples {
		if s.Kind == frame.RunTime {
			h.read(s.At, (time.Duration(s.Value) * time.Millisecond).Hours())
		}
	}
}

func (h *Recorder) read(at device.Stamp, x float64) {
	h.mu.Lock()
	said := h.meter.Read(time.Duration(at), x)
	if said != "" {
		h.odd = said
	}
	h.mu.Unlock()
	if said != "" {
		h.Log.Warn("the spindle's hours", "noticed", said)
	}
}

// now is what is to be kept; nil where nothing is known, or nothing counts.
func (h *Recorder) now() *store.Meter {
	h.mu.Lock()
	defer h.mu.Unlock()
	if h.Line != nil {
		on := h.Line.OnFor()
		h.meter.Ran(on - h.ranFor)
		h.ranFor = on
	}
	x, known := h.meter.Hours()
	if !known || h.From == "" {
		return nil
	}
	return &store.Meter{Hours: x, Counter: h.meter.Counter()}
}

func (h *Recorder) isKept(m store.Meter) {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.kept, h.keptAt, h.err = &m, device.Now(), ""
}

// keep writes the hours if there is news of them.
func (h *Recorder) keep(ctx context.Context) {
	h.saving.Lock()
	defer h.saving.Unlock()
	m := h.now()
	h.mu.Lock()
	news := m != nil && (h.kept == nil || math.Abs(m.Hours-h.kept.Hours) >= oneSecond ||
		(m.Counter == nil) != (h.kept.Counter == nil) ||
		m.Counter != nil && *m.Counter != *h.kept.Counter)
	h.mu.Unlock()
	if !news {
		return
	}
	if err := h.Store.SetMeter(ctx, *m); err != nil {
		h.mu.Lock()
		first := h.err == ""
		h.err = "the hours cannot be kept: " + err.Error()
		h.keptAt = device.Now() // not again at once
		h.mu.Unlock()
		if first {
			h.Log.Error("the spindle's hours cannot be kept", "error", err)
		}
		return
	}
	h.isKept(*m)
}

// Run stores the hours as they grow until ctx ends, and once more then.
func (h *Recorder) Run(ctx context.Context) {
	if h.From == "" {
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
		h.note(ctx)
	}
}

// note makes an event of what was noticed about a counter, so that it stands in the history.
func (h *Recorder) note(ctx context.Context) {
	h.mu.Lock()
	odd := h.odd
	h.mu.Unlock()
	now := device.Now()
	if odd == "" || h.notedAt != 0 && time.Duration(now-h.notedAt) < noteEvery {
		return
	}
	set := h.ClockSet()
	if _, err := h.Store.AddEvent(ctx, store.Event{At: time.Now(), Kind: "note", Text: odd, BootTime: clock.SinceBoot(),
		ClockUnset: !set}); err != nil {
		h.Log.Warn("cannot store what was noticed about the spindle's hours", "error", err)
		return
	}
	h.notedAt = now
	h.mu.Lock()
	h.odd = ""
	h.mu.Unlock()
}

// Begin stores a run's beginning with the hours in it.
func (h *Recorder) Begin(ctx context.Context, store func(*store.Meter) (int64, error)) (int64, error) {
	h.saving.Lock()
	defer h.saving.Unlock()
	m := h.now()
	id, err := store(m)
	if err == nil && m != nil {
		h.isKept(*m)
	}
	return id, err
}

// Type stores hours that a person types, and goes on from them.
func (h *Recorder) Type(x float64, add func() (int64, error)) (int64, error) {
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

// State returns what is on disk, for the snapshot; nil where nothing counts.
func (h *Recorder) State() *api.HoursState {
	h.mu.Lock()
	defer h.mu.Unlock()
	if h.From == "" {
		return nil
	}
	s := &api.HoursState{From: h.From, Error: h.err}
	if h.kept != nil {
		x := h.kept.Hours
		s.Hours = &x
	}
	return s
}
