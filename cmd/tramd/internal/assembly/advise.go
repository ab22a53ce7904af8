package assembly

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"tramd/cmd/tramd/internal/api"
	"tramd/cmd/tramd/internal/config"
	"tramd/store"
	"tramd/sweep"
	"tramd/sweep/advice"
	"tramd/sweep/stack"
)

// joint is a measurement that adjusters can be aimed by.
type joint struct {
	*config.Measured
	kind       string
	alongLine  bool
	quantities []string
	positions  []float64
	sides      []float64 // of a travel or a cross: at which sides it is read
	scale      bool      // the scale of [position] lies along it
}

func ofTravel(cfg *config.Config, m *config.Measured, way *config.Moving) joint {
	return joint{Measured: m, kind: sweep.KindTravel, quantities: []string{config.AxisTilt, config.AxisNod},
		positions: way.TravelMM, sides: way.SidesDeg,
		scale: cfg.PositionsOfTravel(way) == config.PositionScale}
}

// jointOf finds a measurement by its name.
func jointOf(cfg *config.Config, name string) (joint, error) {
	var all []joint
	for i := range cfg.Traverses {
		t := &cfg.Traverses[i]
		j := joint{Measured: &t.Measured, kind: sweep.KindTraverse, alongLine: true,
			quantities: []string{config.MovesSlope}, positions: t.PositionsMM,
			scale: cfg.PositionsOf(t) == config.PositionScale}
		switch {
		case t.Over == config.OverTable:
			j.kind, j.alongLine, j.quantities, j.sides = sweep.KindCross, false,
				[]string{config.AxisTilt, config.AxisNod}, t.SidesDeg
		case t.Same:
			continue // thicknesses are not moved
		case len(t.LinesMM) > 1:
			j.quantities = append(j.quantities, cfg.Across(&t.Measured))
		}
		all = append(all, j)
	}
	for i := range cfg.Bars {
		if b := &cfg.Bars[i]; len(b.TravelMM) > 0 {
			all = append(all, ofTravel(cfg, &b.Measured, &b.Moving))
		}
	}
	for i := range cfg.Squares {
		all = append(all, ofTravel(cfg, &cfg.Squares[i].Measured, &cfg.Squares[i].Moving))
	}
	known := make([]string, len(all))
	for i := range all {
		if known[i] = all[i].Name; known[i] == name {
			return all[i], nil
		}
	}
	if len(known) == 0 {
		return joint{}, api.NotFound.New(
			"the configuration has no traverse, bar or square whose adjusters could be advised on: add one with its adjusters")
	}
	return joint{}, api.NotFound.Errorf("no traverse, bar or square %q shows a joint that can be moved; there are %s",
		name, strings.Join(known, ", "))
}

// Advise returns the next move at the joint that a named traverse, bar or square shows, learned from what its adjusters
// did before.
func Advise(ctx context.Context, s *store.Store, cfg *config.Config, name string) (api.JointAdvice, error) {
	j, err := jointOf(cfg, name)
	if err != nil {
		return api.JointAdvice{}, err
	}
	limit := cfg.Limit(j.Measured)
	p := advice.Problem{Tolerance: limit, Adjusters: cfg.JointAdvisers(j.Measured, j.alongLine),
		Subject: advice.Subject{Quantities: j.quantities, Again: "measure " + j.Name + " again"}}
	a := api.JointAdvice{Name: j.Name, Kind: j.kind, Joint: j.Joint, Quantities: j.quantities, Tolerance: limit.Text,
		Adjusters: api.Adjusters(p.Adjusters), Aims: []api.JointAim{}, Chain: []string{}}
	runs, err := j.history(ctx, s, cfg, &p)
	if err != nil {
		return a, err
	}
	if len(runs) == 0 {
		return a, api.Conflict.Errorf("nothing is measured yet: measure %s first with `%s`", j.Name,
			command(config.Step{Kind: stepKind(j.kind), Of: j.Name}))
	}
	a.Run = runs[len(runs)-1].ID
	if a.Answer, err = advice.Advise(p); err != nil {
		if errors.Is(err, advice.ErrNoTolerance) {
			return a, api.Conflict.Errorf("%s: %w", j.Name, err)
		}
		return a, fmt.Errorf("the record of %s cannot be advised on: %w", j.Name, err)
	}
	last, err := Decode(j.kind, runs[len(runs)-1].Raw)
	if err != nil {
		return a, fmt.Errorf("run %d: %w", a.Run, err)
	}
	a.Aims = aims(&a.Answer, j.ways(last), cfg.Indicators[cfg.IndicatorOf(j.Measured)].Name)
	for i := range a.Aims {
		a.Aims[i].Scale = j.scale
	}
	a.Chain, err = chainOf(ctx, s, cfg, &j)
	return a, err
}

// chainOf returns what all relations together say, where a joint is in one of them.
func chainOf(ctx context.Context, s *store.Store, cfg *config.Config, j *joint) ([]string, error) {
	if cfg.Relation(j.kind, j.Name) == "" {
		return []string{}, nil
	}
	all, _, err := StackOf(ctx, s, cfg)
	if err != nil || len(all.Relations) == 0 {
		return []string{}, err
	}
	answer, err := stack.Solve(all)
	if err != nil {
		return []string{}, err
	}
	return answer.Say, nil
}

func stepKind(kind string) string {
	if kind == sweep.KindCross {
		return sweep.KindTraverse
	}
	return kind
}

// history fills in what was measured and moved, oldest first.
func (j *joint) history(ctx context.Context, s *store.Store, cfg *config.Config, p *advice.Problem) (
	[]store.Run, error) {
	found, err := s.Find(ctx, store.Which{Kind: j.kind, Subject: j.Name, Limit: mostRuns})
	if err != nil {
		return nil, err
	}
	var runs []store.Run
	slices.SortStableFunc(found, func(a, b store.Run) int {
		return cmp.Or(a.StartedAt.Compare(b.StartedAt), cmp.Compare(a.ID, b.ID))
	})
	for _, run := range found {
		if run.Outcome != store.Finished || run.Raw == nil || run.Setup.Machine != cfg.Machine.Name {
			continue
		}
		e, ok, err := j.entry(run)
		if err != nil {
			return nil, err
		}
		if ok {
			runs, p.History = append(runs, run), append(p.History, e)
		}
	}
	events, err := s.Events(ctx, mostRuns)
	if err != nil {
		return nil, err
	}
	steps := cfg.Steps()
	own := slices.IndexFunc(steps, func(x config.Step) bool { return x.Of == j.Name && x.Kind == stepKind(j.kind) })
	for _, e := range events {
		if e.Damage != "" {
			store.Unbelieved(p.History, func(h *advice.Entry) *advice.Entry { return h })
			continue
		}
		at := -1 // the last measurement before it
		for i := range runs {
			if !runs[i].StartedAt.After(e.At) {
				at = i
			}
		}
		if at < 0 || e.Undone != nil {
			continue
		}
		h := &p.History[at]
		switch {
		case store.Changes(e.Kind) && len(e.Moved) == 0:
			h.Unrecorded = true
		default:
			for name, by := range e.Moved {
				switch {
				case slices.Contains(j.Adjusters, name):
					if h.Moved == nil {
						h.Moved = map[string]float64{}
					}
					h.Moved[name] += by
				// a joint below this one moved: by how much here is not known
				case own >= 0 && lowest(cfg, steps, name) <= own && by != 0:
					h.Unrecorded = true
				}
			}
		}
	}
	return runs, nil
}

// entry returns what a run measured of the joint; ok is false where it shows nothing of it.
func (j *joint) entry(run store.Run) (e advice.Entry, ok bool, err error) {
	r, err := Decode(run.Kind, run.Raw)
	if err != nil {
		return e, false, fmt.Errorf("run %d: %w", run.ID, err)
	}
	first, second := r.axes(j.quantities)
	e = advice.Entry{Label: fmt.Sprintf("run %d", run.ID), Tilt: math.NaN(), Nod: math.NaN()}
	if first != nil {
		e.Tilt, e.TiltU, e.TiltHalf = first.Slope.MMPerM(), first.U.MMPerM(), first.Expanded.MMPerM()
	}
	switch {
	case len(j.quantities) < 2:
		e.Nod = 0
	case second != nil:
		e.Nod, e.NodU, e.NodHalf = second.Slope.MMPerM(), second.U.MMPerM(), second.Expanded.MMPerM()
	}
	return e, first != nil || len(j.quantities) == 2 && second != nil, nil
}

// axes returns the estimates by the names of their quantities.
func (r Result) axes(quantities []string) (first, second *sweep.Axis) {
	if r.Travel != nil {
		return r.Travel.Tilt, r.Travel.Nod
	}
	twist, cross := r.across(quantities)
	return r.Traverse.Slope, cmp.Or(twist, cross)
}

// across returns what several lines are asked for beside their slope: the twist or the cross slope.
func (r Result) across(quantities []string) (twist, cross *sweep.Axis) {
	switch {
	case len(quantities) < 2:
		return nil, nil
	case quantities[1] == config.MovesCrossSlope:
		return nil, r.Traverse.CrossSlope
	}
	return r.Traverse.Twist, nil
}
