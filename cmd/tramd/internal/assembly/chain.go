package assembly

import (
	"context"
	"math"
	"time"

	"tramd/cmd/tramd/internal/config"
	"tramd/store"
	"tramd/sweep"
	"tramd/sweep/drift"
	"tramd/sweep/stack"
)

// StackOf returns the newest of each relation and axis since the last event, from the record, with what its history
// warns of.
func StackOf(ctx context.Context, rec *store.Store, cfg *config.Config) (*stack.Stack, []sweep.Warning, error) {
	s := &stack.Stack{Tolerance: cfg.Setup().Tolerance}
	h, _, err := rec.History(ctx, cfg.Machine.Name, store.Mark{})
	if err != nil {
		return s, nil, err
	}
	var since time.Time
	var newest [2]*drift.Check
	for _, x := range h.Entries {
		switch {
		case x.Event != nil && x.Event.EndsSegment():
			since, newest = x.Event.Time, [2]*drift.Check{}
		case x.Check != nil:
			for k, v := range x.Check.Axis {
				if v != nil && v.U > 0 {
					newest[k] = x.Check
				}
			}
		}
	}
	for k, check := range newest {
		if check == nil {
			continue
		}
		m := stack.Measured{Relation: stack.SpindleToTable}
		v, dof := check.Axis[k], known(check.DoF[k])
		if k == 0 {
			m.Tilt, m.TiltU, m.TiltDoF = &v.MMPerM, &v.U, dof
		} else {
			m.Nod, m.NodU, m.NodDoF = &v.MMPerM, &v.U, dof
		}
		s.Relations = append(s.Relations, m)
	}
	others, err := Relations(ctx, rec, cfg.Machine.Name, since)
	for _, x := range others {
		s.Relations = append(s.Relations, x.Measured())
	}
	return s, h.Warnings, err
}

// known returns degrees of freedom as a stack takes them; nil: as good as infinitely many.
func known(dof float64) *float64 {
	if !(dof > 0) || math.IsInf(dof, 0) {
		return nil
	}
	return &dof
}
