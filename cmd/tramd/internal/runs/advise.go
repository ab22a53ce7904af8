package runs

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"tramd/cmd/tramd/internal/config"
	"tramd/cmd/tramd/internal/jobsheet"
	"tramd/cmd/tramd/internal/session"
	"tramd/store"
	"tramd/sweep/advice"
	"tramd/sweep/finish"
)

// Advice is what to do next to the machine, with all a page needs to show it.
type Advice struct {
	advice.Answer
	Machine   string     `json:"machine"`
	Tolerance string     `json:"tolerance"`
	Limit     *float64   `json:"limit_mm_per_m"` // null without a tolerance
	Run       int64      `json:"run,omitempty"`  // the sweep it rests on
	MustSweep bool       `json:"must_sweep"`     // something was changed since that sweep: sweep before the next move
	Adjusters []Adjuster `json:"adjusters"`      // as they are configured
	Job       []Stage    `json:"job"`            // how the lean travelled, oldest first, this one last
	Aims      []Aim      `json:"aims"`           // of a parked arm, for each move in turn

	TighteningMM   float64  `json:"tightening_mm"`    // what tightening is expected to add to a parked arm's reading: aim so much short
	TighteningSDMM *float64 `json:"tightening_sd_mm"` // how much that scatters; null before two were seen
	Cutters        []Finish `json:"cutters"`          // what the present lean leaves on the work
}

// Finish is what a lean leaves on the work with one cutter.
type Finish = finish.Report

// Adjuster is one thing that can be moved.
type Adjuster struct {
	Name    string    `json:"name"`
	Unit    string    `json:"unit"`
	Tilt    float64   `json:"tilt_mm_per_m"` // of one unit, as described
	Nod     float64   `json:"nod_mm_per_m"`
	Step    float64   `json:"step"` // 0: any
	StockMM []float64 `json:"stock_mm"`
	Plus    string    `json:"plus"` // words for a positive amount; {} stands for it
	Minus   string    `json:"minus"`
	Notes   string    `json:"notes"`
}

// Stage is one sweep of the job and what was done after it.
type Stage = jobsheet.Stage

// remembered is how many changes to the machine the adviser looks back on.
const remembered = 80

// Advise works the next move out of the record and the configuration.
func Advise(ctx context.Context, s *store.Store, cfg *config.Config) (Advice, error) {
	setup := cfg.Setup()
	a := Advice{Machine: setup.Machine, Tolerance: setup.Tolerance.Text, Adjusters: []Adjuster{}, Job: []Stage{}, Cutters: []Finish{}, Aims: []Aim{}}
	if setup.Tolerance.Given() {
		limit := setup.Tolerance.Limit.MMPerM()
		a.Limit = &limit
	}
	for _, x := range cfg.Advisers() {
		a.Adjusters = append(a.Adjusters, Adjuster{x.Name, x.Unit, x.Tilt, x.Nod, x.Step, append([]float64{}, x.StockMM...), x.Words.Plus, x.Words.Minus, x.Words.Notes})
	}
	if err := a.tightening(ctx, s); err != nil {
		return a, err
	}
	trials, err := s.Trials(ctx, setup.Machine, remembered)
	if err != nil {
		return a, err
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
			return a, fmt.Errorf("the record cannot be advised on: %w", err)
		}
		a.Answer = advice.Silent(err)
	}
	if blind, err := lastWithoutDirection(ctx, s, trials); err != nil {
		return a, err
	} else if blind {
		a.Answer = advice.Silent(advice.ErrNoDirection)
	}
	a.aim(cfg)
	if len(trials) > 0 {
		last := trials[len(trials)-1]
		a.Run, a.MustSweep = last.Run, last.Entry.Changed()
		if err := a.finish(ctx, s, cfg); err != nil {
			return a, err
		}
	}
	return a, nil
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
	run, err := s.LastFinished(ctx, session.Sweeping)
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
func (a *Advice) finish(ctx context.Context, s *store.Store, cfg *config.Config) error {
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

func stage(t store.Trial) Stage {
	st := Stage{Run: t.Run, StartedAt: t.StartedAt, Purpose: t.Purpose, Verdict: t.Verdict, Moved: t.Entry.Moved, Told: t.Told}
	if st.Moved == nil {
		st.Moved = map[string]float64{}
	}
	if st.Told == nil {
		st.Told = []string{}
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
			return fmt.Errorf("moved: the configuration describes no adjusters; add an [[adjuster]] named %q to it", name)
		case !slices.Contains(names, name):
			return fmt.Errorf("moved: %q is not among the adjusters (%s); correct the name, or describe it in the configuration", name, strings.Join(names, ", "))
		case !(math.Abs(by) <= 1000):
			return fmt.Errorf("moved: %v is no amount of %s; write a signed number", by, name)
		}
	}
	return nil
}
