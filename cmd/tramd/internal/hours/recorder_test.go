package hours

import (
	"context"
	"errors"
	"log/slog"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"tramd/device"
	"tramd/device/frame"
	"tramd/device/input"
	"tramd/store"
	"tramd/sweep"
)

func openStore(t *testing.T, path string) *store.Store {
	t.Helper()
	s, err := store.Open(t.Context(), path, store.Options{BootID: "boot-1"})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = s.Close() })
	return s
}

func meterOf(t *testing.T, s Store, from string) *Recorder {
	t.Helper()
	h, err := Open(t.Context(), Options{Store: s, From: from, Step: 0.1, ClockSet: func() bool { return true },
		Log: slog.New(slog.DiscardHandler)})
	if err != nil {
		t.Fatal(err)
	}
	return h
}

func shown(h *Recorder) float64 {
	if s := h.State(); s != nil && s.Hours != nil {
		return *s.Hours
	}
	return -1
}

// Whatever was shown or stored with a run before a kill, what comes after is never less.
func TestHoursAreNeverTakenBackByAKill(t *testing.T) {
	path := filepath.Join(t.TempDir(), "linnet.db")
	setup := sweep.Setup{Machine: "linnet", AngleSource: "encoder",
		Indicators: []sweep.Indicator{{Name: "arm", RadiusMM: 120, ResolutionMM: 0.001}}}
	most, stamp := 0.0, device.Stamp(0)
	for life := range 5 {
		s := openStore(t, path)
		h := meterOf(t, s, "input spindle")
		line, err := input.New(input.Spec{Name: "spindle", Source: input.SourceModbus, Stale: time.Hour}, nil)
		if err != nil {
			t.Fatal(err)
		}
		h.Line = line
		if got := shown(h); life > 0 && got < most {
			t.Errorf("life %d begins at %v h, %v h were shown", life, got, most)
		}
		on := func(d time.Duration) {
			line.Feed(stamp, true)
			stamp += device.Stamp(d)
			line.Feed(stamp, true)
		}
		on(30 * time.Minute)
		h.keep(t.Context())
		on(3 * time.Minute)
		if got := h.now(); got == nil || got.Hours <= shown(h) {
			t.Errorf("%v in memory, %v shown", got, shown(h))
		}
		id, err := h.Begin(t.Context(), func(m *store.Meter) (int64, error) {
			return s.BeginRun(t.Context(), store.NewRun{Kind: "sweep", Setup: setup, Purpose: "check",
				StartedAt: time.Now(), Meter: m})
		})
		if err != nil {
			t.Fatal(err)
		}
		run, err := s.Run(t.Context(), id)
		if err != nil || run.SpindleHours == nil || *run.SpindleHours != shown(h) || shown(h) < most+0.5499 {
			t.Fatalf("run at %v h, %v, shown %v after %v", run.SpindleHours, err, shown(h), most)
		}
		most = shown(h)
		on(40 * time.Second) // lost with the kill: nothing closes the meter
		if err := s.Close(); err != nil {
			t.Fatal(err)
		}
	}
	if most < 5*0.5499 || most > 5*0.5612 {
		t.Errorf("%v h after five times 33 minutes", most)
	}
}

func TestACounterThatBeganAgainBecomesAnEventAndAPersonSetsItRight(t *testing.T) {
	s := openStore(t, filepath.Join(t.TempDir(), "linnet.db"))
	h := meterOf(t, s, "the machine's counter")
	minute := device.Stamp(time.Minute)
	at := device.Stamp(0)
	say := func(hours ...float64) {
		for _, x := range hours {
			at += minute
			h.Sink(device.Batch{Samples: []device.Sample{{At: at, Kind: frame.RunTime, Value: int64(x * 3.6e6)}}})
		}
		h.keep(t.Context())
		h.note(t.Context())
	}
	say(1200, 1200, 1200.1)
	if got := shown(h); got != 1200.1 {
		t.Errorf("%v h", got)
	}
	say(2, 2, 2, 2.1)
	if got := shown(h); got < 1200.1999 || got > 1200.2001 {
		t.Errorf("%v h with another controller", got)
	}
	say(1, 1, 1) // and another one, the same day
	events, err := s.Events(t.Context(), 10)
	if err != nil || len(events) != 1 || events[0].Kind != "note" ||
		!strings.Contains(events[0].Text, "went back from 1200.1 to 2.0 h") {
		t.Errorf("events %+v, %v", events, err)
	}
	if _, err := h.Type(900, func() (int64, error) { return 0, errors.New("no room") }); err == nil || shown(h) < 1200 {
		t.Errorf("%v: hours that could not be stored were taken: %v", err, shown(h))
	}
	if _, err := h.Type(900.5, func() (int64, error) {
		return s.AddEvent(t.Context(), store.Event{At: time.Now(), Kind: "hours", Text: "900.5"})
	}); err != nil || shown(h) != 900.5 {
		t.Errorf("%v, %v h", err, shown(h))
	}
	say(1.1)
	if got := shown(h); got < 900.5999 || got > 900.6001 {
		t.Errorf("%v h after a correction", got)
	}
	again := meterOf(t, s, "the machine's counter")
	if shown(again) != shown(h) {
		t.Errorf("%v h after a restart, %v before", shown(again), shown(h))
	}
}

// full is a store that refuses to write.
type full struct {
	*store.Store
	refuse bool
	wrote  int
}

func (f *full) SetMeter(ctx context.Context, m store.Meter) error {
	if f.refuse {
		return errors.New("database or disk is full")
	}
	f.wrote++
	return f.Store.SetMeter(ctx, m)
}

func TestHoursThatCannotBeKeptAreSaidAndComeLater(t *testing.T) {
	f := &full{Store: openStore(t, filepath.Join(t.TempDir(), "linnet.db")), refuse: true}
	h := meterOf(t, f, "the machine's counter")
	h.read(0, 5)
	h.keep(t.Context())
	if s := h.State(); s.Hours != nil || !strings.Contains(s.Error, "disk is full") {
		t.Errorf("%+v", s)
	}
	f.refuse = false
	h.keep(t.Context())
	if s := h.State(); s.Hours == nil || *s.Hours != 5 || s.Error != "" {
		t.Errorf("%+v", s)
	}
	for range 5 {
		h.keep(t.Context()) // nothing has changed
	}
	if f.wrote != 1 {
		t.Errorf("written %d times", f.wrote)
	}
	typed := meterOf(t, f, "")
	if typed.State() != nil || typed.now() != nil {
		t.Error("hours that nothing counts are shown as if they were of now")
	}
}
