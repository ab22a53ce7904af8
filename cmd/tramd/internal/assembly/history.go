package assembly

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"time"

	"tramd/cmd/tramd/internal/config"
	"tramd/store"
	"tramd/sweep"
	"tramd/sweep/drift"
	"tramd/sweep/stack"
)

var errNoChecks = errors.New("the record holds no dated check")

// Standing is how one measurement of the job holds: its alarms, and when it is to be checked next.
type Standing struct {
	Name, Kind string
	Alarms     []drift.Alarm // that stand
	Next       *drift.NextCheck
}

// reliability is the chance that a measurement is within its tolerance when it is checked next.
const reliability = 0.95

// Standings returns how each measurement of the job holds that has dated checks, the sweep left out.
func Standings(ctx context.Context, s *store.Store, cfg *config.Config) ([]Standing, error) {
	var out []Standing
	for _, step := range cfg.Steps() {
		if step.Kind == sweep.KindSweep {
			continue
		}
		x := Standing{Name: step.Of, Kind: step.Kind}
		if cfg.Relation(step.Kind, step.Of) == stack.CrossToTable {
			x.Kind = sweep.KindCross
		}
		if slices.ContainsFunc(out, func(y Standing) bool { return y.Name == x.Name && y.Kind == x.Kind }) {
			continue // a step that is measured twice
		}
		h, _, err := History(ctx, s, cfg, x.Name, x.Kind)
		if errors.Is(err, errNoChecks) {
			continue
		}
		if err != nil {
			return nil, err
		}
		a, err := drift.Work(h, reliability)
		if err != nil {
			return nil, fmt.Errorf("%s %s: %w", x.Kind, x.Name, err)
		}
		x.Alarms, x.Next = a.Alarms, a.Forecast.Next
		out = append(out, x)
		if x.Kind != sweep.KindBar {
			continue
		}
		if x, err = runOut(ctx, s, cfg, h, x.Name); err != nil {
			return nil, err
		}
		out = append(out, x)
	}
	return out, nil
}

// RunOut is the kind of a standing that speaks of a bar's run-out, where that of the bar speaks of its angle.
const RunOut = "run_out"

// runOut returns how the run-out of a bar holds, at the height where each check found it largest. angles is the history
// of the bar's angle: the same checks and events.
func runOut(ctx context.Context, s *store.Store, cfg *config.Config, angles *drift.History, name string) (
	Standing, error) {
	out := Standing{Name: name, Kind: RunOut}
	runs, err := s.Find(ctx, store.Which{Kind: sweep.KindBar, Subject: name, Limit: mostRuns})
	if err != nil {
		return out, err
	}
	h := &drift.History{Plan: angles.Plan}
	for _, e := range angles.Entries {
		if e.Event != nil {
			h.Entries = append(h.Entries, e)
		}
	}
	for _, run := range runs {
		if !counts(run, cfg.Machine.Name) {
			continue
		}
		check, _, err := checkOf(cfg, run)
		if err != nil {
			return out, err
		}
		r, err := Decode(run.Kind, run.Raw)
		if err != nil {
			return out, fmt.Errorf("run %d: %w", run.ID, err)
		}
		options, err := ParseOptions(run.Own)
		if err != nil {
			return out, fmt.Errorf("run %d: %w", run.ID, err)
		}
		// Drift reckons in one unit, whichever: here mm. Run-out is twice the eccentricity, whose U is expanded by
		// about two: so that is its standard uncertainty.
		check.Axis, check.DoF, check.Limit = [2]*drift.Value{}, [2]float64{}, options.RunOutMM
		for _, x := range r.Bar.Heights {
			if x.U > 0 && (check.Axis[0] == nil || x.RunOut > check.Axis[0].MMPerM) {
				check.Axis[0] = &drift.Value{MMPerM: x.RunOut, U: x.U}
			}
		}
		h.Entries = append(h.Entries, drift.Entry{Check: check})
	}
	slices.SortStableFunc(h.Entries, func(a, b drift.Entry) int { return timeOf(a).Compare(timeOf(b)) })
	a, err := drift.Work(h, reliability)
	if err != nil {
		return out, fmt.Errorf("run-out of %s: %w", name, err)
	}
	for _, al := range a.Alarms {
		al.Axis, al.Length = "run-out", true
		out.Alarms = append(out.Alarms, al)
	}
	out.Next = a.Forecast.Next
	return out, nil
}

// History returns the checks of a named measurement, or of a relation, as a history of leans, and what of it they show
// in words. kind may be empty where only one kind of measurement bears the name.
func History(ctx context.Context, s *store.Store, cfg *config.Config, name, kind string) (*drift.History,
	string, error) {
	h := &drift.History{Plan: cfg.Check.Intervals()}
	byKind := map[string][]store.Run{}
	var kinds []string
	for _, k := range Kinds {
		if kind != "" && k != kind {
			continue
		}
		runs, err := s.Find(ctx, store.Which{Kind: k, Limit: mostRuns})
		if err != nil {
			return nil, "", err
		}
		for _, run := range runs {
			if !counts(run, cfg.Machine.Name) {
				continue
			}
			if run.Subject == name || relationOf(run) == name {
				byKind[k] = append(byKind[k], run)
			}
		}
		if len(byKind[k]) > 0 {
			kinds = append(kinds, k)
		}
	}
	switch {
	case len(kinds) == 0:
		return nil, "", fmt.Errorf("%w of %q: measure it, or correct the name", errNoChecks, name)
	case len(kinds) > 1 && relationOf(byKind[kinds[0]][0]) != name:
		return nil, "", fmt.Errorf("%q was measured in several ways, %v: say which with --kind", name, kinds)
	}
	what := ""
	for _, k := range kinds {
		for _, run := range byKind[k] {
			check, says, err := checkOf(cfg, run)
			if err != nil {
				return nil, "", err
			}
			h.Entries, what = append(h.Entries, drift.Entry{Check: check}), says
		}
	}
	if err := bearing(ctx, s, cfg, h, kinds[0], name); err != nil {
		return nil, "", err
	}
	slices.SortStableFunc(h.Entries, func(a, b drift.Entry) int { return timeOf(a).Compare(timeOf(b)) })
	return h, what, nil
}

func timeOf(e drift.Entry) time.Time {
	if e.Event != nil {
		return e.Event.Time
	}
	return e.Check.Time
}

// relationOf returns the relation that a run measured; empty for one that measures none.
func relationOf(run store.Run) string {
	if run.Kind != sweep.KindTravel && run.Kind != sweep.KindCross {
		return ""
	}
	r, err := Decode(run.Kind, run.Raw)
	if err != nil {
		return ""
	}
	return r.Travel.Relation
}

// checkOf returns a run as a check of leans: a traverse's slope along the axis it speaks of, a bar's angle, a travel's
// tilt and nod.
func checkOf(cfg *config.Config, run store.Run) (*drift.Check, string, error) {
	r, err := Decode(run.Kind, run.Raw)
	if err != nil {
		return nil, "", fmt.Errorf("run %d: %w", run.ID, err)
	}
	c := &drift.Check{Time: run.StartedAt, Limit: run.Setup.Tolerance.Limit.MMPerM(), SpindleHours: math.NaN(),
		TemperatureC: run.TemperatureC}
	if run.SpindleHours != nil {
		c.SpindleHours = *run.SpindleHours
	}
	take := func(axis int, a *sweep.Axis) {
		if a == nil || !(a.U > 0) {
			return
		}
		c.Axis[axis] = &drift.Value{MMPerM: a.Slope.MMPerM(), U: a.U.MMPerM()}
		if d := a.Budget.DoF(); d > 0 {
			c.DoF[axis] = d
		}
	}
	switch {
	case r.Traverse != nil:
		axis := 0
		if m := cfg.Measured(run.Kind, run.Subject); m != nil && m.Axis == config.AxisNod {
			axis = 1
		}
		take(axis, r.Traverse.Slope)
		return c, "the slope of " + run.Subject + ", as " + drift.Axes[axis], nil
	case r.Bar != nil:
		if a := r.Bar.Angle; a != nil && a.U > 0 {
			c.Axis[0] = &drift.Value{MMPerM: a.MMPerM, U: a.U}
		}
		return c, "the angle of " + run.Subject + " to the axis, as tilt", nil
	}
	take(0, r.Travel.Tilt)
	take(1, r.Travel.Nod)
	return c, r.Travel.Relation, nil
}

// bearing adds the events that bear on a measurement: not those that moved only what lies above it.
func bearing(ctx context.Context, s *store.Store, cfg *config.Config, h *drift.History, kind, name string) error {
	events, err := s.Events(ctx, mostRuns)
	if err != nil {
		return err
	}
	steps := cfg.Steps()
	own := slices.IndexFunc(steps, func(x config.Step) bool {
		return x.Of == name && (x.Kind == kind || kind == sweep.KindCross && x.Kind == sweep.KindTraverse)
	})
	for _, e := range events {
		if e.Undone != nil || e.Damage != "" || e.ClockUnset {
			continue
		}
		if e.Kind == "adjusted" && len(e.Moved) > 0 && own >= 0 {
			bears := false
			for adjuster := range e.Moved {
				bears = bears || lowest(cfg, steps, adjuster) <= own
			}
			if !bears {
				continue
			}
		}
		x := &drift.Event{Time: e.At, Kind: e.Kind, Text: e.Text}
		if hours, ok := e.TypedHours(); ok {
			x.Hours = hours
		}
		h.Entries = append(h.Entries, drift.Entry{Event: x})
	}
	return nil
}
