package daemon

import (
	"context"
	"fmt"
	"log/slog"
	"math"
	"reflect"
	"strings"
	"time"

	"tramd/cmd/tramd/internal/interlock"
	"tramd/cmd/tramd/internal/schedule"
	"tramd/cmd/tramd/internal/session"
	"tramd/cmd/tramd/internal/unattended"
	"tramd/store"
)

// checkChore is the name under which the store keeps up to when slots were given out.
const checkChore = "check"

// takes is how the daemon takes a check: the session's sweeps.
type takes interface {
	Snapshot(ctx context.Context) (*session.Snapshot, error)
	Gauges(ctx context.Context) ([]session.Gauge, error)
	Start(ctx context.Context, turns int, purpose string) (int64, error)
	Trouble(kind, why string)
	SetCheck(session.CheckState)
}

// mover moves the arm by a stepped program, where a person has armed it for planned checks.
type mover interface {
	StartArmed(ctx context.Context, purpose string) (int64, error)
}

// lock says whether planned checks may move the arm: package interlock.
type lock interface {
	PlannedUntil() time.Time
	Planned(ctx context.Context) interlock.Bar
}

// checkStore is what the checks need of a store.
type checkStore interface {
	Chore(ctx context.Context, name string) (time.Time, error)
	SetChore(ctx context.Context, name string, at time.Time) error
	Run(ctx context.Context, id int64) (store.Run, error)
	AddRunLog(ctx context.Context, run int64, text string) error
	AddEvent(ctx context.Context, e store.Event) (int64, error)
}

// checks takes the unattended checks.
type checks struct {
	store    checkStore
	session  takes
	plan     unattended.Plan
	slots    schedule.Plan
	turns    int
	clockSet func() bool
	now      func() time.Time
	log      *slog.Logger
	hours    func(context.Context) *float64 // of the spindle since the last check; nil where not known
	mover    mover                          // both only where the plan moves the arm
	lock     lock                           // of an arm that is moved

	checker *unattended.Checker
	steps   []string           // of the check in hand, with their times
	run     int64              // that is being taken; 0: none
	ended   int64              // whose steps are still to be stored; 0: none
	failed  *unattended.Taking // what could not even be begun
	spans   map[string]*extent
	kept    time.Time // what was last stored of the slots given out
	said    string
	shown   session.CheckState
}

// doChecks takes the unattended checks until ctx ends.
func (d *Daemon) doChecks(ctx context.Context) {
	if len(d.cfg.Check.At) == 0 {
		return
	}
	c := &checks{store: d.store, session: session.Unwatched{Session: d.session}, plan: d.cfg.CheckPlan(), slots: d.cfg.Check.Slots(), turns: d.cfg.Check.Turns,
		clockSet: d.clock.IsSet, now: time.Now, log: d.o.Log, hours: d.store.HoursSinceCheck}
	if c.plan.Moves {
		c.mover, c.lock = d.session, d.interlock
	}
	tick := time.NewTicker(lookRate)
	defer tick.Stop()
	for n := 0; ; n++ {
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
			c.feel(ctx)
			if n%looksAStep == 0 {
				c.step(ctx)
			}
		}
	}
}

// The indicators are looked at ten times for each step of the checker.
const (
	lookRate   = 100 * time.Millisecond
	looksAStep = 10
	stillFor   = 3 * time.Second // an indicator that has not wandered for so long is still
)

// feel notes how far the indicators wander, while somebody may ask.
func (c *checks) feel(ctx context.Context) {
	if c.checker == nil || !c.checker.Preparing() {
		c.spans = nil
		return
	}
	gauges, err := c.session.Gauges(ctx)
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

const extentLooks = int(stillFor / lookRate)

func (e *extent) add(mm float64) {
	e.mm = append(e.mm, mm)
	if len(e.mm) > extentLooks {
		e.mm = e.mm[1:]
	}
}

// span is infinite until there are enough looks to tell.
func (e *extent) span() float64 {
	if e == nil || len(e.mm) < extentLooks {
		return math.Inf(1)
	}
	low, high := e.mm[0], e.mm[0]
	for _, mm := range e.mm {
		low, high = math.Min(low, mm), math.Max(high, mm)
	}
	return high - low
}

// step brings the checker up to date and does what it says.
func (c *checks) step(ctx context.Context) {
	if c.checker == nil {
		last, err := c.store.Chore(ctx, checkChore)
		if err != nil {
			c.log.Warn("cannot look up the last unattended check", "error", err)
			return
		}
		c.checker, c.kept = unattended.New(c.plan, c.slots, last), last
	}
	f, ok := c.facts(ctx)
	if !ok {
		return
	}
	acts := c.checker.Step(f)
	// On disk before anything is begun, so that a kill in this minute does not bring the slot again.
	if last := c.checker.Last(); !last.Equal(c.kept) {
		if err := c.store.SetChore(ctx, checkChore, last); err != nil {
			c.log.Error("cannot store that the slot was given out", "error", err)
		}
		c.kept = last
	}
	for _, a := range acts {
		c.do(ctx, a, f.Now)
	}
	c.show(f, acts)
}

func (c *checks) facts(ctx context.Context) (unattended.Facts, bool) {
	snap, err := c.session.Snapshot(ctx)
	if err != nil {
		return unattended.Facts{}, false
	}
	gauges, err := c.session.Gauges(ctx)
	if err != nil {
		return unattended.Facts{}, false
	}
	f := unattended.Facts{Now: c.now(), ClockSet: c.clockSet(), NextCheck: snap.NextCheck, Hours: c.hours(ctx)}
	for _, g := range gauges {
		f.Gauges = append(f.Gauges, unattended.Gauge{Name: g.Name, Live: g.Live, MM: g.MM, SpanMM: c.spans[g.Name].span()})
	}
	if c.plan.Moves {
		f.ArmedUntil = c.lock.PlannedUntil()
		if c.checker.Preparing() {
			b := c.lock.Planned(ctx)
			f.Barred = unattended.Bar{Why: b.Why, Final: b.Final}
		}
	}
	switch {
	case c.run != 0 && snap.Sweep.Run == c.run:
		f.Taking = &unattended.Taking{Run: c.run}
	case c.run != 0:
		f.Taking = c.outcome(ctx)
	case c.failed != nil:
		f.Taking, c.failed = c.failed, nil
	case snap.Sweep.Phase != session.Idle:
		f.Busy = fmt.Sprintf("run %d is being taken", snap.Sweep.Run)
	}
	return f, true
}

// outcome reads how the run ended from the store, for only there is it certain.
func (c *checks) outcome(ctx context.Context) *unattended.Taking {
	t := &unattended.Taking{Run: c.run}
	r, err := c.store.Run(ctx, c.run)
	if err != nil {
		c.log.Warn("cannot look up the unattended check", "run", c.run, "error", err)
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
	t.Hazard = c.plan.Moves && !t.OK && !strings.HasPrefix(t.Why, session.NotFitted)
	c.run, c.ended = 0, c.run
	return t
}

func (c *checks) do(ctx context.Context, a unattended.Act, now time.Time) {
	line := now.Format(time.RFC3339) + " " + a.Text
	if a.Do != unattended.Missed && a.Do != unattended.Skip { // those are of no check in hand
		c.steps = append(c.steps, line)
	}
	switch a.Do {
	case unattended.Begin:
		if c.ended != 0 { // the first try
			c.writeSteps(ctx)
			c.steps = []string{line}
		}
		run, err := c.begin(ctx)
		if err != nil {
			c.failed = &unattended.Taking{Ended: true, Why: err.Error()}
			c.log.Warn("unattended check", "slot", a.Slot, "error", err)
			return
		}
		c.run = run
		c.log.Info("unattended check", "slot", a.Slot, "run", run, "step", a.Text)
	case unattended.Missed, unattended.GaveUp:
		c.log.Warn("unattended check", "slot", a.Slot, "why", a.Text)
		c.session.Trouble("check", a.Text)
		if _, err := c.store.AddEvent(ctx, store.Event{At: now, Kind: "note", Text: a.Text, ClockUnset: !c.clockSet()}); err != nil {
			c.log.Warn("cannot store that a check was missed", "error", err)
		}
		if a.Do == unattended.GaveUp {
			c.writeSteps(ctx)
		}
	case unattended.Done:
		c.log.Info("unattended check", "slot", a.Slot, "step", a.Text)
		c.session.Trouble("check", "")
		c.writeSteps(ctx)
	default:
		c.log.Info("unattended check", "slot", a.Slot, "step", a.Text)
	}
}

func (c *checks) begin(ctx context.Context) (int64, error) {
	if !c.plan.Moves {
		return c.session.Start(ctx, c.turns, "check")
	}
	return c.mover.StartArmed(ctx, "check")
}

// writeSteps puts what was done into the run it led to.
func (c *checks) writeSteps(ctx context.Context) {
	if c.ended != 0 {
		if err := c.store.AddRunLog(ctx, c.ended, strings.Join(c.steps, "\n")+"\n"); err != nil {
			c.log.Warn("cannot store the steps of the unattended check", "error", err)
		}
	}
	c.steps, c.ended = nil, 0
}

// show tells the faces.
func (c *checks) show(f unattended.Facts, acts []unattended.Act) {
	s := session.CheckState{Moves: c.plan.Moves, DryRun: c.plan.DryRun, WhyNot: []string{}}
	if next, ok := c.checker.Next(f.Now); ok {
		s.Next = next.Format(time.RFC3339)
		s.WhyNot = append(s.WhyNot, c.plan.Outlook(f, next)...)
	}
	if len(acts) > 0 {
		c.said = acts[len(acts)-1].Text
	}
	s.Say = c.said
	if !reflect.DeepEqual(s, c.shown) {
		c.shown = s
		c.session.SetCheck(s)
	}
}
