package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"tramd/cmd/tramd/internal/session"
	"tramd/store"
)

// idleAsked has the machine asked whether it is idle before it is moved.
const idleAsked = "idle_ask = \"STATE\"\nidle_answer = \"state idle\"\n"

// lastPlanned writes into the record when a planned check was last looked at, so that one of after that is due.
func (s shop) lastPlanned(t *testing.T, at time.Time) {
	t.Helper()
	past, err := store.Open(t.Context(), filepath.Join(s.dir, "tramd.db"), store.Options{})
	if err != nil {
		t.Fatal(err)
	}
	if err := errors.Join(past.SetChore(t.Context(), "check", at), past.Close()); err != nil {
		t.Fatal(err)
	}
}

// plan has the daemon to come take a check at the minute of slot.
func (s shop) plan(t *testing.T, slot time.Time, more string) {
	t.Helper()
	f, err := os.OpenFile(s.config, os.O_APPEND|os.O_WRONLY, 0)
	if err != nil {
		t.Fatal(err)
	}
	_, err = fmt.Fprintf(f, "[clock]\ntrusted = true\n[check]\nat = [%q]\n%s", slot.Format("15:04"), more)
	if err := errors.Join(err, f.Close()); err != nil {
		t.Fatal(err)
	}
}

// The real daemon takes a check by itself in the minute that is planned; the spindle is turned by a machine that is not
// ours.
func TestACheckNobodyAsksFor(t *testing.T) {
	t.Parallel()
	m := startOther(t, "--tilt", "0.2", "--nod", "-0.1", "--rate", "200", "--encoder-rate", "200", "--seconds", "2", "--turns", "1.05")
	s := newShop(t, encoderPorts(m.Paths.Indicator, m.Paths.Encoder))
	slot := time.Now().Truncate(time.Minute)
	s.lastPlanned(t, slot.Add(-time.Hour))
	s.plan(t, slot, "still_mm = 0.05\n")
	s.daemon(t)
	waitState(t, s, "a sweep nobody asked for", func(snap *session.Snapshot) bool { return snap.Sweep.Phase == session.Waiting })
	m.turn(t)
	waitState(t, s, "its end", func(snap *session.Snapshot) bool {
		return snap.Last != nil && snap.Sweep.Phase == session.Idle && strings.Contains(snap.Check.Say, "is run 1") && snap.Check.Next == slot.AddDate(0, 0, 1).Format(time.RFC3339)
	})
	_, out, _ := call(t, "show", "1", "--config", s.config)
	for _, want := range []string{"is due", "all conditions hold", "begins", "is run 1", "tilt"} {
		if !strings.Contains(out, want) {
			t.Errorf("no %q in\n%s", want, out)
		}
	}
}

// A planned check moves the arm by itself: armed before, the machine asked whether it is idle, the sweep taken there
// and back.
func TestAPlannedCheckMovesTheArm(t *testing.T) {
	t.Parallel()
	c := startController(t)
	s := c.shop(t)
	slot := time.Now().Add(10 * time.Second).Truncate(time.Minute).Add(time.Minute)
	s.plan(t, slot, idleAsked)
	s.daemon(t)
	waitState(t, s, "the check planned", func(snap *session.Snapshot) bool {
		return snap.Check != nil && snap.Check.Next == slot.Format(time.RFC3339)
	})
	p := programIn(t, "arm", "--config", s.config, "--hours", "1")
	io.WriteString(p.in, "linnet\n")
	if got := p.wait(); got != exitDone {
		t.Fatalf("armed: %d %s", got, p.err.String())
	}
	time.Sleep(time.Until(slot))
	waitState(t, s, "the arm moving", func(snap *session.Snapshot) bool { return snap.Sweep.Phase == session.Turning })
	ctx, cancel := context.WithTimeout(context.Background(), 90*time.Second)
	defer cancel()
	if err := s.client(t).Live(ctx, func(snap *session.Snapshot) bool {
		return snap.Check == nil || !strings.Contains(snap.Check.Say, "is run 1")
	}); err != nil {
		t.Fatal(err)
	}
	_, out, _ := call(t, "show", "1", "--config", s.config)
	for _, want := range []string{"is due", "all conditions hold", "begins", "is run 1", "tilt"} {
		if !strings.Contains(out, want) {
			t.Errorf("no %q in\n%s", want, out)
		}
	}
	if sent := c.commands(t); len(sent) < 10 || sent[0] != "G90" {
		t.Errorf("sent %q", sent)
	}
}

// Without arming nothing moves, whatever the hour.
func TestAPlannedCheckThatIsNotArmedMovesNothing(t *testing.T) {
	c := startController(t)
	s := c.shop(t)
	slot := time.Now().Truncate(time.Minute)
	s.lastPlanned(t, slot.Add(-time.Hour))
	s.plan(t, slot, idleAsked)
	s.daemon(t)
	waitState(t, s, "the refusal", func(snap *session.Snapshot) bool { return strings.Contains(snap.Troubles["check"], "it is not armed") })
	if sent := c.commands(t); len(sent) != 0 {
		t.Errorf("sent %q", sent)
	}
}
