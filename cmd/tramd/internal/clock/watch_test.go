package clock

import (
	"testing"
	"time"
)

// shop is a machine's clocks, moved by hand.
type shop struct {
	wall time.Time
	boot time.Duration
	set  bool
	busy time.Duration // that passes at each reading of a clock
}

func (s *shop) clock() Clock {
	return Clock{
		Wall: func() time.Time { s.pass(s.busy); return s.wall },
		Boot: func() time.Duration { s.pass(s.busy); return s.boot },
		Set:  func() bool { return s.set },
	}
}

func (s *shop) pass(d time.Duration) {
	s.wall = s.wall.Add(d)
	s.boot += d
}

func TestTheClockIsSetAfterBoot(t *testing.T) {
	// A machine without a battery wakes up at the date its system was built, and is set three minutes later.
	built := time.Date(2025, 5, 15, 0, 0, 0, 0, time.UTC)
	s := &shop{wall: built.Add(20 * time.Second), boot: 20 * time.Second}
	w := NewWatcher(s.clock())
	if c, changed := w.Look(); changed || c.Set || w.IsSet() || !w.booted.Equal(built) {
		t.Fatalf("first look: %+v, changed %v, booted %v", c, changed, w.booted)
	}
	for range 160 {
		s.pass(time.Second + 400*time.Microsecond)
		s.wall = s.wall.Add(-400 * time.Microsecond) // slewed as hard as it may be
		if c, changed := w.Look(); changed {
			t.Fatalf("nothing was set, found %+v", c)
		}
	}
	now := time.Date(2026, 3, 2, 7, 30, 0, 0, time.UTC)
	s.pass(time.Second)
	by := now.Sub(s.wall)
	s.wall, s.set = now, true
	c, changed := w.Look()
	if !changed || !c.Set || !c.Newly || !c.Booted.Equal(now.Add(-s.boot)) || !w.IsSet() {
		t.Fatalf("after it was set: %+v, changed %v", c, changed)
	}
	if d := c.Step - by; d < -time.Millisecond || d > time.Millisecond {
		t.Errorf("stepped by %v, want %v", c.Step, by)
	}
	s.pass(time.Second)
	if c, changed := w.Look(); changed {
		t.Errorf("once is enough: %+v", c)
	}
}

func TestStepsBothWays(t *testing.T) {
	s := &shop{wall: time.Date(2026, 3, 29, 0, 59, 0, 0, time.UTC), boot: time.Hour, set: true}
	w := NewWatcher(s.clock())
	if c, changed := w.Look(); !changed || !c.Newly || c.Step != 0 {
		t.Fatalf("a clock that is set at the first look: %+v, changed %v", c, changed)
	}
	for _, by := range []time.Duration{time.Hour, -time.Hour, 128 * time.Millisecond, -90 * 24 * time.Hour} {
		s.pass(time.Second)
		s.wall = s.wall.Add(by)
		if c, changed := w.Look(); !changed || c.Newly || c.Step != by {
			t.Errorf("stepped by %v, found %+v, changed %v", by, c, changed)
		}
	}
	s.pass(8 * time.Hour) // asleep: time since boot goes on
	if c, changed := w.Look(); changed {
		t.Errorf("a suspended machine: %+v", c)
	}
	s.set = false
	if c, changed := w.Look(); !changed || c.Set || c.Newly {
		t.Errorf("no longer set: %+v, changed %v", c, changed)
	}
}

func TestABusyMachineIsNoStep(t *testing.T) {
	s := &shop{wall: time.Date(2026, 3, 2, 7, 30, 0, 0, time.UTC), boot: time.Hour, set: true}
	w := NewWatcher(s.clock())
	w.Look()
	booted := w.booted
	s.busy = 300 * time.Millisecond // between any two readings
	if c, changed := w.Look(); changed || !w.booted.Equal(booted) {
		t.Errorf("found %+v", c)
	}
	s.busy = 2 * time.Millisecond
	if c, changed := w.Look(); changed {
		t.Errorf("found %+v", c)
	}
}

func TestATrustedClockIsSet(t *testing.T) {
	if !System(true).Set() {
		t.Error("a clock said to be right does not count as set")
	}
}
