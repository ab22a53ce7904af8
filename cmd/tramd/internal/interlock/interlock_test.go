package interlock

import (
	"bytes"
	"context"
	"io"
	"regexp"
	"strings"
	"testing"
	"time"
)

// locked is an interlock on a clock that a test sets.
type locked struct {
	*Interlock
	now   time.Duration
	input string
}

func newLocked() *locked {
	l := &locked{now: time.Hour}
	l.Interlock = New(Options{Clock: func() time.Duration { return l.now }, Input: func() string { return l.input }})
	return l
}

// armed gives a key.
func (l *locked) armed(t *testing.T) string {
	t.Helper()
	key, _, b := l.Arm("the arm")
	if b.Shut() || key == "" {
		t.Fatalf("%+v", b)
	}
	return key
}

func shut(t *testing.T, what string, b Bar, why string) {
	t.Helper()
	if b.Shut() != (why != "") || !strings.Contains(b.Why, why) {
		t.Errorf("%s: %+v, want %q", what, b, why)
	}
}

func TestAMotionIsStartedByItsKeyOnce(t *testing.T) {
	l := newLocked()
	_, b := l.Begin("", "the arm")
	shut(t, "no key", b, "not armed with this key")
	key := l.armed(t)
	_, b = l.Begin(key+"x", "the arm")
	shut(t, "a wrong key", b, "not armed with this key")
	l.now += KeyFor + time.Second // the computer may have slept meanwhile
	_, b = l.Begin(key, "the arm")
	shut(t, "a key that has run out", b, "has run out")
	key = l.armed(t)
	l.Disarm()
	_, b = l.Begin(key, "the arm")
	shut(t, "a key taken back", b, "disarmed")
	old := l.armed(t)
	key = l.armed(t)
	_, b = l.Begin(old, "the arm")
	shut(t, "the key before", b, "not armed with this key")
	p, b := l.Begin(key, "the arm")
	shut(t, "the key", b, "")
	_, b = l.Begin(key, "the arm")
	shut(t, "twice", b, "not armed with this key")
	_, _, b = l.Arm("the arm")
	shut(t, "armed while it moves", b, "arm again once it has ended")
	p.End()
	l.armed(t)
}

func TestAMotionGoesOnWhileItIsHeld(t *testing.T) {
	for name, tc := range map[string]struct {
		do  func(l *locked, p *Permit, key string)
		why string
	}{
		"held by the key": {func(l *locked, _ *Permit, key string) {
			for range 20 {
				l.now += HoldFor / 2
				l.Hold(key)
			}
		}, ""},
		"held by its terminal": {func(l *locked, p *Permit, _ string) {
			for range 20 {
				l.now += HoldFor / 2
				p.Hold()
			}
		}, ""},
		"not held": {func(l *locked, _ *Permit, _ string) { l.now += HoldFor + 1 }, "no sign came"},
		"a sign too late": {func(l *locked, _ *Permit, key string) { l.now += HoldFor + 1; l.Hold(key) },
			"no sign came"},
		"let go":            {func(l *locked, _ *Permit, key string) { l.LetGo(key) }, "let go"},
		"a sign after that": {func(l *locked, _ *Permit, key string) { l.LetGo(key); l.Hold(key) }, "let go"},
		"let go by another": {func(l *locked, _ *Permit, key string) { l.LetGo(key + "x"); l.LetGo("") }, ""},
		"its terminal went": {func(_ *locked, p *Permit, _ string) { p.LetGo("the terminal is gone") },
			"the terminal is gone"},
		"disarmed": {func(l *locked, _ *Permit, _ string) { l.Disarm() }, "disarmed"},
		"somebody at it": {func(l *locked, _ *Permit, _ string) { l.input = "input spindle is on" },
			"input spindle is on"},
	} {
		l := newLocked()
		key := l.armed(t)
		p, b := l.Begin(key, "the arm")
		shut(t, "the start", b, "")
		tc.do(l, p, key)
		b = p.Bar()
		shut(t, name, b, tc.why)
		if b.Shut() && b.Asked != (l.input == "") {
			t.Errorf("%s: %+v", name, b)
		}
	}
}

// A button that was let go before the start came through starts nothing, whichever request is there first.
func TestWhatIsLetGoBeforeTheStartDoesNotBegin(t *testing.T) {
	l := newLocked()
	key := l.armed(t)
	shut(t, "held before the start", l.Hold(key), "")
	shut(t, "let go", l.LetGo(key), "")
	_, b := l.Begin(key, "the arm")
	shut(t, "the start that comes after", b, "let go")

	key = l.armed(t)
	shut(t, "held before the start", l.Hold(key), "")
	l.now += HoldFor + 1
	_, b = l.Begin(key, "the arm")
	shut(t, "a start whose holder is gone", b, "no sign came")
	shut(t, "another's key", l.Hold("x"), "not armed with this key")
	shut(t, "no key", l.LetGo(""), "nothing to let go")
}

func TestPlannedChecksHaveAnArmingOfTheirOwn(t *testing.T) {
	l := newLocked()
	b := l.Planned(t.Context())
	shut(t, "not armed", b, "it is not armed")
	if !b.Final || !l.PlannedUntil().IsZero() {
		t.Errorf("%+v, armed until %v", b, l.PlannedUntil())
	}
	until := l.ArmPlanned(8 * time.Hour)
	if d := time.Until(until); d < 7*time.Hour || !l.PlannedUntil().Equal(until) {
		t.Errorf("armed until %v", until)
	}
	l.armed(t) // one motion by a person takes nothing from it
	l.input = "input spindle is on"
	b = l.Planned(t.Context())
	shut(t, "at work", b, "does not say that it is idle: input spindle is on")
	if b.Final {
		t.Error("waiting cures that")
	}
	l.input = ""
	p, b := l.BeginPlanned(t.Context())
	shut(t, "armed", b, "")
	shut(t, "while it moves", p.Bar(), "")
	l.now += 8 * time.Hour
	b = p.Bar()
	shut(t, "the arming ran out", b, "ran out")
	if !b.Asked {
		t.Errorf("%+v", b)
	}
	b = l.Planned(t.Context())
	shut(t, "a new one", b, "ran out at")
	l.ArmPlanned(time.Hour)
	p, b = l.BeginPlanned(t.Context())
	shut(t, "armed again", b, "")
	l.Disarm()
	shut(t, "disarmed", p.Bar(), "disarmed")
	_, b = l.BeginPlanned(t.Context())
	shut(t, "after that", b, "it is not armed")
}

// answering is a line on which one answer waits.
type answering struct{ io.Reader }

func (answering) Write(p []byte) (int, error) { return len(p), nil }
func (answering) Close() error                { return nil }

// A planned check begins only on an answer of just now, and never while the question holds the controller's line.
func TestAPlannedCheckBeginsOnAFreshAnswer(t *testing.T) {
	now, answer, asked := time.Hour, "state idle", 0
	clock := func() time.Duration { return now }
	l := New(Options{Clock: clock, Question: &Question{Ask: "state\n", Answer: regexp.MustCompile("^state idle$"),
		Within: 10 * time.Second, Clock: clock,
		Open: func(context.Context) (io.ReadWriteCloser, error) {
			asked++
			return answering{bytes.NewReader([]byte(answer + "\n"))}, nil
		}}})
	l.ArmPlanned(time.Hour)
	if _, b := l.BeginPlanned(t.Context()); b.Shut() || asked != 1 {
		t.Errorf("%+v, asked %d times", b, asked)
	}
	now, answer = now+idleAgain+time.Second, "state run"
	if _, b := l.BeginPlanned(t.Context()); !strings.Contains(b.Why, `it answered "state run"`) || asked != 2 {
		t.Errorf("%+v, asked %d times", b, asked)
	}
}
