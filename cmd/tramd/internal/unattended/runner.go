package unattended

import (
	"context"
	"fmt"
	"log/slog"
	"math"
	"reflect"
	"strings"
	"time"

	"tramd/cmd/tramd/internal/api"
	"tramd/cmd/tramd/internal/interlock"
	"tramd/cmd/tramd/internal/schedule"
	"tramd/cmd/tramd/internal/session"
	"tramd/store"
)

// checkChore is the name under which the record keeps up to when slots were given out.
const checkChore = "check"

// Session is how a check is taken and shown.
type Session interface {
	Snapshot(ctx context.Context) (*api.Snapshot, error)
	Gauges(ctx context.Context) ([]session.Gauge, error)
	Start(ctx context.Context, turns int, purpose string) (int64, error)
	Trouble(kind, why string)
	SetCheck(api.CheckState)
}

// Mover moves the arm by a stepped program, where a person has armed it for planned checks.
type Mover interface {
	StartArmed(ctx context.Context, purpose string) (int64, error)
}

// Interlock says whether planned checks may move the arm: package interlock.
type Interlock interface {
	PlannedUntil() time.Time
	Planned(ctx context.Context) interlock.Bar
}

// Store is what the checks need of the record.
type Store interface {
	Chore(ctx context.Context, name string) (time.Time, error)
	SetChore(ctx context.Context, name string, at time.Time) error
	Run(ctx context.Context, id int64) (store.Run, error)
	AddRunLog(ctx context.Context, run int64, text string) error
	AddEvent(ctx context.Context, e store.Event) (int64, error)
	HoursSinceCheck(ctx context.Context) *float64 // of the spindle; nil where not known
}

// Options are what a Runner takes its checks with.
type Options struct {
	Store    Store
	Session  Session
	Plan     Plan
	Slots    schedule.Plan
	Turns    int
	ClockSet func() bool
	Now      func() time.Time
	Log      *slog.Logger

	Mover     Mover // this and the next only where the plan moves the arm
	Interlock Interlock
}

// Runner takes the unattended checks: it gives a Checker its facts and does what that decides.
type Runner struct {
	Options

	checker *Checker
	steps   []string // of the check in hand, with their times
	run     int64    // that is being taken; 0: none
	ended   int64    // whose steps are still to be stored; 0: none
	failed  *Taking  // what could not even be begun
	spans   map[string]*extent
	kept    time.Time // what was last stored of the slots given out
	said    string
	shown   api.CheckState
}

// NewRunner returns a runner that has not looked yet.
func NewRunner(o Options) *Runner { return &Runner{Options: o} }

// Run takes the checks until ctx ends.
func (c *Runner) Run(ctx context.Context) {
	tick := time.NewTicker(tickEvery)
	defer tick.Stop()
	for n := 0; ; n++ {
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
			c.feel(ctx)
			if n%ticksPerStep == 0 {
				c.step(ctx)
			}
		}
	}
}

// The indicators are looked at ten times for each step of the checker.
const (
	tickEvery    = 100 * time.Millisecond
	ticksPerStep = 10
	stillFor     = 3 * time.Second // an indicator that has not wandered for so long is still
)

// feel notes how far the indicators wander, while somebody may ask.
func (c *Runner) feel(ctx context.Context) {
	if c.checker == nil || !c.checker.Preparing() {
		c.spans = nil
		return
	}
	gauges, err := c.Session.Gauges(ctx)
	if err != nil {
		return
	}
	if c.spans == nil {
		c.spans = map[string]*extent{}
	}
	for _, g := range gauges {
		e := c.spans[g.Name]
		if e == nil || !g.Live {
			e = &extent{}
			c.spans[g.Name] = e
		}
		if g.Live {
			e.add(g.MM)
		}
	}
}

// extent is how far a reading has wandered over the last looks.
type extent struct{ mm []float64 }

const extentReadings = int(stillFor / tickEvery)

func (e *extent) add(mm float64) {
	e.mm = append(e.mm, mm)
	if len(e.mm) > extentReadings {
		e.mm = e.mm[1:]
	}
}

// span is infinite until there are enough looks to tell.
func (e *extent) span() float64 {
	if e == nil || len(e.mm) < extentReadings {
		return math.Inf(1)
	}
	low, high := e.mm[0], e.mm[0]
	for _, mm := range e.mm {
		low, high = math.Min(low, mm), math.Max(high, mm)
	}
	return high - low
}

// step brings the checker up to date and does what it says.
func (c *Runner) step(ctx context.Context) {
	if c.checker == nil {
		last, err := c.Store.Chore(ctx, checkChore)
		if err != nil {
			c.Log.Warn("cannot look up the last unattended check", "error", err)
			return
		}
		c.checker, c.kept = New(c.Plan, c.Slots, last), last
	}
	f, ok := c.facts(ctx)
	if !ok {
		return
	}
	acts := c.checker.Step(f)
	// On disk before anything is begun, so that a kill in this minute does not bring the slot again.
	if last := c.checker.Last(); !last.Equal(c.kept) {
		if err := c.Store.SetChore(ctx, checkChore, last); err != nil {
			c.Log.Error("cannot store that the slot was given out", "error", err)
		}
		c.kept = last
	}
	for _, a := range acts {
		c.do(ctx, a, f.Now)
	}
	c.show(f, acts)
}

func (c *Runner) facts(ctx context.Context) (Facts, bool) {
	snap, err := c.Session.Snapshot(ctx)
	if err != nil {
		return Facts{}, false
	}
	gauges, err := c.Session.Gauges(ctx)
	if err != nil {
		return Facts{}, false
	}
	f := Facts{Now: c.Now(), ClockSet: c.ClockSet(), NextCheck: snap.NextCheck, Hours: c.Store.HoursSinceCheck(ctx)}
	for _, g := range gauges {
		f.Gauges = append(f.Gauges, Gauge{Name: g.Name, Live: g.Live, MM: g.MM, SpanMM: c.spans[g.Name].span()})
	}
	if c.Plan.Moves {
		f.ArmedUntil = c.Interlock.PlannedUntil()
		if c.checker.Preparing() {
			b := c.Interlock.Planned(ctx)
			f.Barred = Bar{Why: b.Why, Final: b.Final}
		}
	}
	switch {
	case c.run != 0 && snap.Sweep.Run == c.run:
		f.Taking = &Taking{Run: c.run}
	case c.run != 0:
		f.Taking = c.outcome(ctx)
	case c.failed != nil:
		f.Taking, c.failed = c.failed, nil
	case snap.Sweep.Phase != api.PhaseIdle:
		f.Busy = fmt.Sprintf("run %d is being taken", snap.Sweep.Run)
	}
	return f, true
}

// outcome reads how the run ended from the store, for only there is it certain.
func (c *Runner) outcome(ctx context.Context) *Taking {
	t := &Taking{Run: c.run}
	r, err := c.Store.Run(ctx, c.run)
	if err != nil {
		c.Log.Warn("cannot look up the unattended check", "run", c.run, "error", err)
		return t
	}
	if r.Outcome == "" {
		return t
	}
	t.Ended, t.OK, t.Why = true, r.Outcome == store.Finished && r.Result != nil, r.Why
	if t.Why == "" && !t.OK {
		t.Why = "it was " + string(r.Outcome)
	}
	// A program that was stopped was stopped for a reason; only what could not be fitted had all its readings.
	t.Hazard = c.Plan.Moves && !t.OK && !strings.HasPrefix(t.Why, session.NotFitted)
	c.run, c.ended = 0, c.run
	return t
}

func (c *Runner) do(ctx context.Context, a Act, now time.Time) {
	line := now.Format(time.RFC3339) + " " + a.Text
	if a.Do != Missed && a.Do != Skip { // those are of no check in hand
		c.steps = append(c.steps, line)
	}
	switch a.Do {
	case Begin:
		if c.ended != 0 { // the first try
			c.writeSteps(ctx)
			c.steps = []string{line}
		}
		run, err := c.begin(ctx)
		if err != nil {
			c.failed = &Taking{Ended: true, Why: err.Error()}
			c.Log.Warn("unattended check", "slot", a.Slot, "error", err)
			return
		}
		c.run = run
		c.Log.Info("unattended check", "slot", a.Slot, "run", run, "step", a.Text)
	case Missed, GaveUp:
		c.Log.Warn("unattended check", "slot", a.Slot, "why", a.Text)
		c.Session.Trouble("check", a.Text)
		if _, err := c.Store.AddEvent(
			ctx, store.Event{At: now, Kind: "note", Text: a.Text, ClockUnset: !c.ClockSet()}); err != nil {
			c.Log.Warn("cannot store that a check was missed", "error", err)
		}
		if a.Do == GaveUp {
			c.writeSteps(ctx)
		}
	case Done:
		c.Log.Info("unattended check", "slot", a.Slot, "step", a.Text)
		c.Session.Trouble("check", "")
		c.writeSteps(ctx)
	default:
		c.Log.Info("unattended check", "slot", a.Slot, "step", a.Text)
	}
}

func (c *Runner) begin(ctx context.Context) (int64, error) {
	if !c.Plan.Moves {
		return c.Session.Start(ctx, c.Turns, "check")
	}
	return c.Mover.StartArmed(ctx, "check")
}

// writeSteps puts what was done into the run it led to.
func (c *Runner) writeSteps(ctx context.Context) {
	if c.ended != 0 {
		if err := c.Store.AddRunLog(ctx, c.ended, strings.Join(c.steps, "\n")+"\n"); err != nil {
			c.Log.Warn("cannot store the steps of the unattended check", "error", err)
		}
	}
	c.steps, c.ended = nil, 0
}

// show has the session show how the checks stand.
func (c *Runner) show(f Facts, acts []Act) {
	s := api.CheckState{Moves: c.Plan.Moves, DryRun: c.Plan.DryRun, WhyNot: []string{}}
	if next, ok := c.checker.Next(f.Now); ok {
		s.Next = next.Format(time.RFC3339)
		s.WhyNot = append(s.WhyNot, c.Plan.Outlook(f, next)...)
	}
	if len(acts) > 0 {
		c.said = acts[len(acts)-1].Text
	}
	s.Say = c.said
	if !reflect.DeepEqual(s, c.shown) {
		c.shown = s
		c.Session.SetCheck(s)
	}
}
