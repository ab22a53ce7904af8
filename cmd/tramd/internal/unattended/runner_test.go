package unattended

import (
	"context"
	"errors"
	"log/slog"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"tramd/cmd/tramd/internal/api"
	"tramd/cmd/tramd/internal/interlock"
	"tramd/cmd/tramd/internal/schedule"
	"tramd/cmd/tramd/internal/session"
	"tramd/store"
	"tramd/sweep"
)

// bed is a session whose sweeps end as a test wants, kept in a real store.
type bed struct {
	t        *testing.T
	store    *store.Store
	now      time.Time
	mm       []float64 // what the indicator shows, look by look; the last stays
	looks    int
	run      int64
	ends     []store.Outcome
	starts   int
	refuse   error
	troubles map[string]string
	why      string // of runs that fail
	check    api.CheckState
}

func (b *bed) Snapshot(context.Context) (*api.Snapshot, error) {
	s := &api.Snapshot{Sweep: api.SweepState{Phase: api.PhaseIdle}}
	if b.run != 0 {
		s.Sweep.Phase, s.Sweep.Run = api.PhaseTurning, b.run
	}
	return s, nil
}

func (b *bed) Gauges(context.Context) ([]session.Gauge, error) {
	mm := b.mm[min(b.looks, len(b.mm)-1)]
	b.looks++
	return []session.Gauge{{Name: "arm", Live: true, MM: mm}}, nil
}

func (b *bed) Start(ctx context.Context, turns int, purpose string) (int64, error) {
	b.starts++
	if b.refuse != nil {
		return 0, b.refuse
	}
	if turns != 2 || purpose != "check" {
		b.t.Errorf("%d turns, purpose %q", turns, purpose)
	}
	setup := sweep.Setup{Machine: "linnet", AngleSource: "encoder",
		Indicators: []sweep.Indicator{{Name: "arm", RadiusMM: 120, ResolutionMM: 0.001}}}
	id, err := b.store.BeginRun(ctx, store.NewRun{Kind: "sweep", Purpose: purpose, Setup: setup, StartedAt: b.now,
		ClockSet: true})
	b.run = id
	return id, err
}

func (b *bed) Trouble(kind, why string)  { b.troubles[kind] = why }
func (b *bed) SetCheck(c api.CheckState) { b.check = c }

func newBed(t *testing.T) (*bed, *Runner) {
	s, err := store.Open(t.Context(), filepath.Join(t.TempDir(), "linnet.db"), store.Options{BootID: "boot-1"})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = s.Close() })
	b := &bed{t: t, store: s, now: time.Date(2026, 3, 2, 5, 59, 50, 0, time.UTC), mm: []float64{0.5},
		ends: []store.Outcome{store.Finished}, troubles: map[string]string{}}
	return b, NewRunner(Options{Store: s, Session: b, Turns: 2, ClockSet: func() bool { return true },
		Now: func() time.Time { return b.now },
		Log: slog.New(slog.DiscardHandler), Plan: Plan{When: Always, Retry: true, RetryAfter: time.Minute,
			Patience: 10 * time.Minute, StillMM: 0.01},
		Slots: schedule.Plan{Times: []schedule.Minute{360}}})
}

// pass lets time go by, as the daemon does; a run ends half a minute after it was begun.
func (b *bed) pass(c *Runner, d time.Duration) {
	b.t.Helper()
	var begun time.Time
	for end := b.now.Add(d); b.now.Before(end); b.now = b.now.Add(time.Second) {
		for range ticksPerStep {
			c.feel(b.t.Context())
		}
		c.step(b.t.Context())
		switch {
		case b.run != 0 && begun.IsZero():
			begun = b.now
		case b.run != 0 && b.now.Sub(begun) >= 30*time.Second:
			o, res := b.ends[min(b.starts-1, len(b.ends)-1)], (*sweep.Result)(nil)
			if o == store.Finished {
				res = &sweep.Result{Model: "plain"}
			}
			if err := b.store.FinishRun(b.t.Context(), b.run, o, b.now, b.why, res); err != nil {
				b.t.Fatal(err)
			}
			b.run, begun = 0, time.Time{}
		}
	}
}

func TestAnUnattendedCheckIsTakenAndItsStepsAreKept(t *testing.T) {
	b, c := newBed(t)
	b.mm = append(make([]float64, 0, 200), 0.5)
	for n := range 100 {
		b.mm = append(b.mm, 0.5+0.1*float64(n%2)) // somebody still has a hand on it for ten seconds
	}
	b.mm = append(b.mm, 0.5)
	b.pass(c, 5*time.Minute)
	run, err := b.store.Run(t.Context(), 1)
	if err != nil || run.Outcome != store.Finished || b.starts != 1 {
		t.Fatalf("%+v, %v; begun %d times", run, err, b.starts)
	}
	lines := strings.Split(strings.TrimSpace(run.Log), "\n")
	for i, want := range []string{"2026-03-02T06:00:00Z the check of 2026-03-02 06:00 is due",
		"waiting: indicator arm has not been watched", "waiting: indicator arm is not still: it wandered by 0.100",
		"all conditions hold", "begins", "is run 1"} {
		if i >= len(lines) || !strings.Contains(lines[i], want) {
			t.Fatalf("step %d is not %q:\n%s", i, want, run.Log)
		}
	}
	if b.check.Next != "2026-03-03T06:00:00Z" || !strings.Contains(b.check.Say, "is run 1") ||
		b.troubles["check"] != "" {
		t.Errorf("the session shows %+v, troubles %v", b.check, b.troubles)
	}

	// A restart in the same minute brings no second one, nor does the next hour.
	again := NewRunner(c.Options)
	b.now = time.Date(2026, 3, 2, 6, 0, 1, 0, time.UTC)
	b.pass(again, 2*time.Minute)
	if b.starts != 1 {
		t.Errorf("after a restart in the same minute it was begun again")
	}
}

func TestACheckThatFailsTwiceIsReported(t *testing.T) {
	b, c := newBed(t)
	b.ends = []store.Outcome{store.Failed}
	b.pass(c, 10*time.Minute)
	if b.starts != 2 || !strings.Contains(b.troubles["check"], "failed: it was failed") {
		t.Errorf("begun %d times, troubles %v", b.starts, b.troubles)
	}
	first, err := b.store.Run(t.Context(), 1)
	if err != nil || !strings.Contains(first.Log, "once more in 1m0s") {
		t.Errorf("the first: %q, %v", first.Log, err)
	}
	second, err := b.store.Run(t.Context(), 2)
	if err != nil || !strings.Contains(second.Log, "begins") || strings.Contains(second.Log, "is due") {
		t.Errorf("the second: %q, %v", second.Log, err)
	}
	events, err := b.store.Events(t.Context(), 10)
	if err != nil || len(events) != 1 || events[0].Kind != "note" || events[0].Text != b.troubles["check"] {
		t.Errorf("events %+v, %v", events, err)
	}
	b.ends = append(b.ends, store.Failed, store.Finished)
	b.now = time.Date(2026, 3, 3, 5, 59, 50, 0, time.UTC)
	b.pass(c, 5*time.Minute)
	if b.troubles["check"] != "" {
		t.Errorf("after one that went well: %v", b.troubles)
	}
}

func TestACheckThatCannotBeBegunOrWasMissed(t *testing.T) {
	b, c := newBed(t)
	b.refuse = errors.New("no room left")
	b.pass(c, 5*time.Minute)
	if b.starts != 2 || !strings.Contains(b.troubles["check"], "no room left") {
		t.Errorf("begun %d times, troubles %v", b.starts, b.troubles)
	}
	b.refuse = nil
	b.now = time.Date(2026, 3, 4, 9, 0, 0, 0, time.UTC) // the power was off for two days
	b.pass(c, time.Minute)
	events, err := b.store.Events(t.Context(), 10)
	if err != nil || len(events) != 3 || b.starts != 2 ||
		!strings.Contains(events[0].Text, "2026-03-04 06:00 was missed") {
		t.Errorf("begun %d times, events %+v, %v", b.starts, events, err)
	}
}

// moving is a stepped program, and what says whether it may move.
type moving struct {
	bed    *bed
	until  time.Time
	bar    interlock.Bar
	starts int
}

func (m *moving) PlannedUntil() time.Time               { return m.until }
func (m *moving) Planned(context.Context) interlock.Bar { return m.bar }
func (m *moving) StartArmed(ctx context.Context, purpose string) (int64, error) {
	m.starts++
	return m.bed.Start(ctx, 2, purpose)
}

func TestACheckByASteppedProgram(t *testing.T) {
	for name, tc := range map[string]struct {
		spoil  func(m *moving, b *bed)
		starts int
		says   string
	}{
		"armed and idle": {func(*moving, *bed) {}, 1, ""},
		"not armed": {func(m *moving, b *bed) {
			m.until, m.bar = time.Time{}, interlock.Bar{Why: "it is not armed: tramd arm", Final: true}
		}, 0, "it is not armed"},
		"not idle": {func(m *moving, b *bed) { m.bar = interlock.Bar{Why: `it answered "run"`} }, 0,
			`it answered "run"`},
		"stopped": {func(m *moving, b *bed) {
			b.ends, b.why = []store.Outcome{store.Failed}, "the acknowledgement is late"
		}, 1, "the acknowledgement is late"},
		"disarmed": {func(m *moving, b *bed) {
			b.ends, b.why = []store.Outcome{store.Abandoned}, "the motion was disarmed"
		}, 1, "the motion was disarmed"},
		"not fitted": {func(m *moving, b *bed) {
			b.ends, b.why = []store.Outcome{store.Failed}, session.NotFitted+"too few"
		}, 2, "too few"},
	} {
		t.Run(name, func(t *testing.T) {
			b, c := newBed(t)
			m := &moving{bed: b, until: b.now.Add(12 * time.Hour)}
			c.Plan.Moves, c.Mover, c.Interlock = true, m, m
			tc.spoil(m, b)
			b.pass(c, time.Second)
			if armed := m.until.After(b.now.Add(10 * time.Second)); b.check.Next != "2026-03-02T06:00:00Z" ||
				!b.check.Moves || armed != (len(b.check.WhyNot) == 0) {
				t.Errorf("beforehand it shows %+v", b.check)
			}
			b.pass(c, 15*time.Minute)
			if m.starts != tc.starts || !strings.Contains(b.troubles["check"], tc.says) ||
				(tc.says == "") != (b.troubles["check"] == "") {
				t.Errorf("started %d times, want %d; troubles %v", m.starts, tc.starts, b.troubles)
			}
		})
	}
}

func TestTheSpindlesHours(t *testing.T) {
	b, _ := newBed(t)
	event := func(at time.Duration, text string) {
		t.Helper()
		if _, err := b.store.AddEvent(t.Context(),
			store.Event{At: b.now.Add(at), Kind: "hours", Text: text}); err != nil {
			t.Fatal(err)
		}
	}
	if h := b.store.HoursSinceCheck(t.Context()); h != nil {
		t.Errorf("from nothing: %v", *h)
	}
	event(-time.Hour, "1200.5")
	id, err := b.Start(t.Context(), 2, "check")
	if err != nil {
		t.Fatal(err)
	}
	if err := b.store.FinishRun(t.Context(), id, store.Finished, b.now, "", &sweep.Result{Model: "plain"}); err != nil {
		t.Fatal(err)
	}
	event(time.Hour, "1204")
	event(2*time.Hour, "1208.75")
	if h := b.store.HoursSinceCheck(t.Context()); h == nil || *h != 8.25 {
		t.Errorf("got %v, want 8.25", h)
	}
	event(3*time.Hour, "3") // a new counter
	if h := b.store.HoursSinceCheck(t.Context()); h != nil {
		t.Errorf("a new counter: %v", *h)
	}
}
