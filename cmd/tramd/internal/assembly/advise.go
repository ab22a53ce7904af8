package assembly

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"tramd/cmd/tramd/internal/config"
	"tramd/store"
	"tramd/sweep"
	"tramd/sweep/advice"
)

// Advice is what to move next at a joint.
type Advice struct {
	advice.Answer
	Name       string   `json:"name"`
	Kind       string   `json:"kind"`
	Quantities []string `json:"quantities"` // what tilt and nod stand for: slope, or slope and twist; tilt and nod
	Tolerance  string   `json:"tolerance"`
	Run        int64    `json:"run"`  // the measurement it rests on
	Aims       []Aim    `json:"aims"` // how each move shows at the indicator
}

// Aim is how a move shows at an indicator that is wound from one end of a line to the other: the reading at the far end
// less that at the near one.
type Aim struct {
	Adjuster string  `json:"adjuster"`
	NearMM   float64 `json:"near_mm"`
	FarMM    float64 `json:"far_mm"`
	NowMM    float64 `json:"now_mm"`    // that difference as it was measured
	TargetMM float64 `json:"target_mm"` // what this move is to make of it; at the last one both ends read alike
	Say      string  `json:"say"`
}

// joint is a measurement that adjusters can be aimed by.
type joint struct {
	*config.Measured
	kind       string
	alongLine  bool
	quantities []string
	positions  []float64
}

// jointOf finds a measurement by its name.
func jointOf(cfg *config.Config, name string) (joint, error) {
	var all []joint
	for i := range cfg.Traverses {
		t := &cfg.Traverses[i]
		j := joint{Measured: &t.Measured, kind: sweep.KindTraverse, alongLine: true, quantities: []string{config.MovesSlope}, positions: t.PositionsMM}
		switch {
		case t.Over == config.OverTable:
			j.kind, j.alongLine, j.quantities = sweep.KindCross, false, []string{config.AxisTilt, config.AxisNod}
		case t.Same:
			continue // thicknesses are not moved
		case len(t.LinesMM) > 1:
			j.quantities = append(j.quantities, cfg.Across(&t.Measured))
		}
		all = append(all, j)
	}
	for i := range cfg.Bars {
		if b := &cfg.Bars[i]; len(b.TravelMM) > 0 {
			all = append(all, joint{Measured: &b.Measured, kind: sweep.KindTravel, quantities: []string{config.AxisTilt, config.AxisNod}})
		}
	}
	for i := range cfg.Squares {
		all = append(all, joint{Measured: &cfg.Squares[i].Measured, kind: sweep.KindTravel, quantities: []string{config.AxisTilt, config.AxisNod}})
	}
	known := make([]string, len(all))
	for i := range all {
		if known[i] = all[i].Name; known[i] == name {
			return all[i], nil
		}
	}
	if len(known) == 0 {
		return joint{}, errors.New("the configuration has no traverse, bar or square whose adjusters could be advised on: add one with its adjusters")
	}
	return joint{}, fmt.Errorf("no traverse, bar or square %q shows a joint that can be moved; there are %s", name, strings.Join(known, ", "))
}

// Advise returns the next move at the joint that a named traverse, bar or square shows, learned from what its adjusters
// did before.
func Advise(ctx context.Context, s *store.Store, cfg *config.Config, name string) (Advice, error) {
	j, err := jointOf(cfg, name)
	if err != nil {
		return Advice{}, err
	}
	limit := cfg.Limit(j.Measured)
	a := Advice{Name: j.Name, Kind: j.kind, Quantities: j.quantities, Tolerance: limit.Text, Aims: []Aim{}}
	p := advice.Problem{Tolerance: limit, Adjusters: cfg.JointAdvisers(j.Measured, j.alongLine),
		Subject: advice.Subject{Quantities: j.quantities, Again: "measure " + j.Name + " again"}}
	runs, err := j.history(ctx, s, cfg, &p)
	if err != nil {
		return a, err
	}
	if len(runs) == 0 {
		return a, fmt.Errorf("nothing is measured yet: measure %s first with `%s`", j.Name, command(config.Step{Kind: stepKind(j.kind), Of: j.Name}))
	}
	a.Run = runs[len(runs)-1].ID
	if a.Answer, err = advice.Advise(p); err != nil {
		if errors.Is(err, advice.ErrNoTolerance) {
			return a, fmt.Errorf("%s: %w", j.Name, err)
		}
		return a, fmt.Errorf("the record of %s cannot be advised on: %w", j.Name, err)
	}
	a.aim(j, p.History[len(p.History)-1])
	return a, nil
}

func stepKind(kind string) string {
	if kind == sweep.KindCross {
		return sweep.KindTraverse
	}
	return kind
}

// history fills in what was measured and moved, oldest first.
func (j *joint) history(ctx context.Context, s *store.Store, cfg *config.Config, p *advice.Problem) ([]store.Run, error) {
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
				case own >= 0 && lowest(cfg, steps, name) <= own && by != 0: // a joint below this one moved: by how much here is not known
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
	first = r.Traverse.Slope
	if len(quantities) > 1 {
		second = r.Traverse.Twist
		if quantities[1] == config.MovesCrossSlope {
			second = r.Traverse.CrossSlope
		}
	}
	return first, second
}

// aim says how each move shows at the indicator. Moves are made one after the other.
func (a *Advice) aim(j joint, last advice.Entry) {
	if !j.alongLine || math.IsNaN(last.Tilt) || len(j.positions) < 2 {
		return
	}
	near, far := slices.Min(j.positions), slices.Max(j.positions)
	long, slope := (far-near)/1000, last.Tilt
	for i, m := range a.Moves {
		k := slices.IndexFunc(a.Learned, func(l advice.Learned) bool { return l.Adjuster == m.Adjuster })
		if k < 0 || a.Learned[k].Tilt == 0 {
			continue
		}
		now := slope * long
		slope += a.Learned[k].Tilt * m.By
		x := Aim{m.Adjuster, near, far, now, slope * long, ""}
		target := fmt.Sprintf("reads %+.4f mm against the near end", x.TargetMM)
		if math.Abs(x.TargetMM) < 0.0005 {
			target = "reads as the near end does: both ends alike"
		}
		x.Say = fmt.Sprintf("%d. Read at %g mm, wind to %g mm and park there. The far end was %+.4f mm against the near one; move %s until it %s. Tighten, and read both ends again.",
			i+1, near, far, now, strings.TrimSpace(m.Adjuster), target)
		a.Aims = append(a.Aims, x)
	}
}
