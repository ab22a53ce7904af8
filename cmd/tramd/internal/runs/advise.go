package runs

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"tramd/cmd/tramd/internal/api"
	"tramd/cmd/tramd/internal/config"
	"tramd/store"
	"tramd/sweep/advice"
	"tramd/sweep/finish"
)

// adviser works out one advice.
type adviser struct{ api.Advice }

// remembered is how many changes to the machine the adviser looks back on.
const remembered = 80

// Advise works the next move out of the record and the configuration.
func Advise(ctx context.Context, s *store.Store, cfg *config.Config) (api.Advice, error) {
	var a adviser
	err := a.advise(ctx, s, cfg)
	return a.Advice, err
}

func (a *adviser) advise(ctx context.Context, s *store.Store, cfg *config.Config) error {
	setup := cfg.Setup()
	a.Advice = api.Advice{
		Machine: setup.Machine, Tolerance: setup.Tolerance.Text,
		Adjusters: api.Adjusters(cfg.Advisers()), Job: []api.Stage{}, Cutters: []finish.Report{}, Aims: []api.Aim{},
	}
	if setup.Tolerance.Given() {
		limit := setup.Tolerance.Limit.MMPerM()
		a.Limit = &limit
	}
	if err := a.tightening(ctx, s); err != nil {
		return err
	}
	trials, err := s.Trials(ctx, setup.Machine, remembered)
	if err != nil {
		return err
	}
	p := advice.Problem{Tolerance: setup.Tolerance, Adjusters: cfg.Advisers()}
	for _, t := range trials {
		p.History = append(p.History, ofHead(cfg, t.Entry))
	}
	for _, t := range store.LastJob(trials) {
		a.Job = append(a.Job, stage(t))
	}
	a.Answer, err = advice.Advise(p)
	if err != nil {
		if !errors.Is(err, advice.ErrNothingMeasured) && !errors.Is(err, advice.ErrNoTolerance) {
			return fmt.Errorf("the record cannot be advised on: %w", err)
		}
		a.Answer = advice.Silent(err)
	}
	if blind, err := lastWithoutDirection(ctx, s, trials); err != nil {
		return err
	} else if blind {
		a.Answer = advice.Silent(advice.ErrNoDirection)
	}
	a.aim(cfg)
	if len(trials) > 0 {
		last := trials[len(trials)-1]
		a.Run, a.MustSweep = last.Run, last.Entry.Changed()
		if err := a.finish(ctx, s, cfg); err != nil {
			return err
		}
	}
	return nil
}

// ofHead returns an entry with the moves of the head alone. A move below it changed the lean by an
// unknown amount.
func ofHead(cfg *config.Config, e advice.Entry) advice.Entry {
	own := map[string]float64{}
	for name, by := range e.Moved {
		known := slices.ContainsFunc(cfg.Adjusters, func(x config.Adjuster) bool { return x.Name == name })
		if known && !slices.ContainsFunc(cfg.Advisers(), func(x advice.Adjuster) bool { return x.Name == name }) {
			e.Unrecorded = e.Unrecorded || by != 0
			continue
		}
		own[name] = by
	}
	if e.Moved != nil {
		e.Moved = own
	}
	return e
}

// lastWithoutDirection reports whether the last sweep was taken without a known zero, after the last that says a
// direction.
func lastWithoutDirection(ctx context.Context, s *store.Store, trials []store.Trial) (bool, error) {
	run, err := s.LastFinished(ctx, api.Sweeping)
	if errors.Is(err, store.ErrNotFound) {
		return false, nil
	}
	if err != nil {
		return false, err
	}
	newest := len(trials) == 0 || trials[len(trials)-1].Run < run.ID
	return newest && run.Result != nil && !run.Setup.Zero.Known(), nil
}

// finish weighs the last result for each cutter.
func (a *adviser) finish(ctx context.Context, s *store.Store, cfg *config.Config) error {
	tools := cfg.Tools()
	if len(tools) == 0 {
		return nil
	}
	run, err := s.Run(ctx, a.Run)
	if err != nil || run.Result == nil {
		return err
	}
	for _, c := range tools {
		if r, ok := finish.Weigh(c, run.Result.Tilt, run.Result.Nod); ok {
			a.Cutters = append(a.Cutters, r)
		}
	}
	return nil
}

func stage(t store.Trial) api.Stage {
	st := api.Stage{Run: t.Run, StartedAt: t.StartedAt, Purpose: t.Purpose, Verdict: t.Verdict, Moved: t.Entry.Moved,
		Logged: t.Told}
	if st.Moved == nil {
		st.Moved = map[string]float64{}
	}
	if st.Logged == nil {
		st.Logged = []string{}
	}
	if !math.IsNaN(t.Entry.Tilt) {
		st.Tilt, st.TiltHalf = &t.Entry.Tilt, &t.Entry.TiltHalf
	}
	if !math.IsNaN(t.Entry.Nod) {
		st.Nod, st.NodHalf = &t.Entry.Nod, &t.Entry.NodHalf
	}
	return st
}

// CheckMoves refuses moves of adjusters that the configuration does not have, before they are stored.
func CheckMoves(cfg *config.Config, kind string, moved map[string]float64) error {
	if len(moved) == 0 {
		return nil
	}
	if kind != "adjusted" {
		return fmt.Errorf("moved: only an event of the kind adjusted says what was moved, not %s", kind)
	}
	var names []string
	for _, x := range cfg.Adjusters {
		names = append(names, x.Name)
	}
	for name, by := range moved {
		switch {
		case !slices.Contains(names, name) && len(names) == 0:
			return fmt.Errorf("moved: the configuration describes no adjusters; add an [[adjuster]] named %q to it",
				name)
		case !slices.Contains(names, name):
			return fmt.Errorf(
				"moved: %q is not among the adjusters (%s); correct the name, or describe it in the configuration",
				name, strings.Join(names, ", "))
		case !(math.Abs(by) <= 1000):
			return fmt.Errorf("moved: %v is no amount of %s; write a signed number", by, name)
		}
	}
	return nil
}
