package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"tramd/cmd/tramd/internal/api"
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

// plan writes into the configuration that a check is due at the minute of slot.
func (s shop) plan(t *testing.T, slot time.Time, more string) {
	t.Helper()
	s.planSeveral(t, more, slot)
}

// planSeveral does it for several minutes of a day.
func (s shop) planSeveral(t *testing.T, more string, slots ...time.Time) {
	t.Helper()
	at := make([]string, len(slots))
	for i, slot := range slots {
		at[i] = strconv.Quote(slot.Format("15:04"))
	}
	f, err := os.OpenFile(s.config, os.O_APPEND|os.O_WRONLY, 0)
	if err != nil {
		t.Fatal(err)
	}
	_, err = fmt.Fprintf(f, "[clock]\ntrusted = true\n[check]\nat = [%s]\n%s", strings.Join(at, ", "), more)
	if err := errors.Join(err, f.Close()); err != nil {
		t.Fatal(err)
	}
}

// The real daemon takes a check by itself in the minute that is planned; the spindle is turned by a machine that is not
// ours.
func TestACheckNobodyAsksFor(t *testing.T) {
	t.Parallel()
	m := startOther(t, "--tilt", "0.2", "--nod", "-0.1", "--rate", "200", "--encoder-rate", "200", "--seconds", "2",
		"--turns", "1.05")
	s := newShop(t, encoderPorts(m.Paths.Indicator, m.Paths.Encoder))
	slot := time.Now().Truncate(time.Minute)
	s.lastPlanned(t, slot.Add(-time.Hour))
	s.plan(t, slot, "still_mm = 0.05\n")
	s.daemon(t)
	waitState(t, s, "a sweep nobody asked for", func(snap *api.Snapshot) bool {
		return snap.Sweep.Phase == api.PhaseWaiting
	})
	m.turn(t)
	waitState(t, s, "its end", func(snap *api.Snapshot) bool {
		return snap.Last != nil && snap.Sweep.Phase == api.PhaseIdle && strings.Contains(snap.Check.Say, "is run 1") &&
			snap.Check.Next == slot.AddDate(0, 0, 1).Format(time.RFC3339)
	})
	_, out, _ := call(t, "show", "1", "--config", s.config)
	for _, want := range []string{"is due", "all conditions hold", "begins", "is run 1", "tilt"} {
		if !strings.Contains(out, want) {
			t.Errorf("no %q in\n%s", want, out)
		}
	}
}

// A planned check moves the arm by itself: armed before, the machine asked whether it is idle, the sweep taken there
// and back. A computer that is too busy to watch the arm stops it, and rightly: then the next planned check has to do.
func TestAPlannedCheckMovesTheArm(t *testing.T) {
	t.Parallel()
	c := startController(t)
	s := c.shop(t)
	slot := time.Now().Add(10 * time.Second).Truncate(time.Minute).Add(time.Minute)
	s.planSeveral(t, idleAsked, slot, slot.Add(time.Minute), slot.Add(2*time.Minute))
	s.daemon(t)
	waitState(t, s, "the check planned", func(snap *api.Snapshot) bool {
		return snap.Check != nil && snap.Check.Next == slot.Format(time.RFC3339)
	})
	p := programIn(t, "arm", "--config", s.config, "--hours", "1")
	io.WriteString(p.in, "linnet\n")
	if got := p.wait(); got != exitDone {
		t.Fatalf("armed: %d %s", got, p.err.String())
	}
	time.Sleep(time.Until(slot))
	waitState(t, s, "the arm moving", func(snap *api.Snapshot) bool { return snap.Sweep.Phase == api.PhaseTurning })
	ctx, cancel := context.WithTimeout(context.Background(), 4*time.Minute)
	defer cancel()
	isRun, run := regexp.MustCompile(`is run (\d+)`), ""
	if err := s.client(t).Live(ctx, func(snap *api.Snapshot) bool {
		if snap.Check == nil {
			return true
		}
		if m := isRun.FindStringSubmatch(snap.Check.Say); m != nil {
			run = m[1]
		}
		return run == "" && (!strings.Contains(snap.Check.Say, "failed") ||
			strings.Contains(snap.Check.Say, "stood still"))
	}); err != nil || run == "" {
		t.Fatalf("no check was taken: %v", err)
	}
	_, out, _ := call(t, "show", run, "--config", s.config)
	for _, want := range []string{"is due", "all conditions hold", "begins", "is run " + run, "tilt"} {
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
	waitState(t, s, "the refusal", func(snap *api.Snapshot) bool {
		return strings.Contains(snap.Troubles["check"], "it is not armed")
	})
	if sent := c.commands(t); len(sent) != 0 {
		t.Errorf("sent %q", sent)
	}
}
