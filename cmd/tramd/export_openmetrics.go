package main

import (
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"time"

	"tramd/cmd/tramd/internal/api"
	"tramd/cmd/tramd/internal/metrics"
	"tramd/cmd/tramd/internal/runs"
	"tramd/store"
	"tramd/sweep"
	"tramd/sweep/drift"
	"tramd/sweep/units"
)

// headBlock is how long before now nothing may be brought into a Prometheus that runs: its newest block is still being
// written (Prometheus documentation, Storage, "Backfilling from OpenMetrics format").
const headBlock = 3 * time.Hour

// openMetrics writes what scrapes would have found from the first check on.
func (c *exportCmd) openMetrics(e *env, now time.Time) error {
	cfg, s, err := c.openRecord(e)
	if err != nil {
		return err
	}
	defer s.Close()
	h, _, err := s.History(e.ctx, cfg.Machine.Name, store.Mark{})
	if err != nil {
		return err
	}
	for _, w := range h.Warnings {
		fmt.Fprintf(e.err, "note: %s [%s]\n", w.Text, w.Code)
	}
	steps, err := sweepSteps(e, s, cfg.Machine.Name)
	if err != nil {
		return err
	}
	t := drift.New()
	t.Plan = cfg.Check.Intervals()
	ended := map[int64]time.Time{}
	for _, x := range steps {
		ended[x.last.Run] = x.at
	}
	for _, entry := range h.Entries {
		at := time.Time{}
		if entry.Event != nil {
			at = entry.Event.Time
		} else if at = ended[int64(entry.Place)]; at.IsZero() {
			at = entry.Check.Time
		}
		steps = append(steps, step{at: at, entry: &entry})
	}
	// A check and its sweep have one moment: the sweep first, so that the state is whole when the drift follows.
	slices.SortStableFunc(steps, func(a, b step) int { return a.at.Compare(b.at) })
	var out metrics.History
	state := &api.Snapshot{Machine: cfg.Machine.Name}
	late := 0
	for _, x := range steps {
		if x.at.After(now.Add(-headBlock)) {
			late++
			continue
		}
		if err := x.apply(t, state); err != nil {
			return err
		}
		if err := out.Add(x.at, state); err != nil {
			return err
		}
	}
	if late > 0 {
		fmt.Fprintf(
			e.err,
			"note: what is less than three hours old is left out, since a running Prometheus cannot take it in\n")
	}
	return out.Write(e.out, c.Every)
}

// step is one change in the answer to a scrape: a stored sweep, or a check or an event that the drift takes in.
type step struct {
	at    time.Time
	last  api.LastRun
	limit float64 // mm/m
	entry *drift.Entry
}

func (x *step) apply(t *drift.Tracker, state *api.Snapshot) error {
	switch {
	case x.entry == nil:
		state.Last, state.Limit = &x.last, x.limit
		return nil
	case x.entry.Event != nil:
		if err := t.Event(*x.entry.Event); err != nil {
			return err
		}
	default:
		if _, err := t.Check(*x.entry.Check); err != nil {
			return err
		}
	}
	if t.Limit() == 0 && t.Checks() == 0 {
		return nil // an event before the first check
	}
	state.Drift = runs.DriftState(t)
	state.NextCheck = nil
	if n := t.Forecast(runs.Reliability).Next; n != nil {
		state.NextCheck = &n.Time
	}
	return nil
}

// sweepSteps returns the dated, finished sweeps of a machine with what a scrape says of them.
func sweepSteps(e *env, s *store.Store, machine string) ([]step, error) {
	var out []step
	for before := int64(math.MaxInt64); ; {
		lines, err := s.Lines(e.ctx, store.Which{Before: before, Limit: 1000, Kind: "sweep"})
		if err != nil {
			return nil, err
		}
		if len(lines) == 0 {
			return out, nil
		}
		for _, r := range lines {
			before = r.ID
			if r.Outcome != store.Finished || !r.ClockSet || r.Setup.Machine != machine || r.Result == nil ||
				r.Damage != "" {
				continue
			}
			var short struct {
				Tilt, Nod *struct {
					Lean     float64 `json:"mm_per_m"`
					Expanded float64 `json:"U_mm_per_m"`
				}
			}
			if err := json.Unmarshal(r.Result, &short); err != nil {
				return nil, fmt.Errorf("run %d: its result cannot be read (%w); refit it: tramd refit %d --keep",
					r.ID, err, r.ID)
			}
			x := step{at: r.EndedAt, limit: r.Setup.Tolerance.Limit.MMPerM(),
				last: api.LastRun{Run: r.ID, At: r.EndedAt, Started: r.StartedAt}}
			if a := short.Tilt; a != nil {
				x.last.Result.Tilt = &sweep.Axis{Slope: units.Slope(a.Lean) * units.MMPerM,
					Expanded: units.Slope(a.Expanded) * units.MMPerM}
			}
			if a := short.Nod; a != nil {
				x.last.Result.Nod = &sweep.Axis{Slope: units.Slope(a.Lean) * units.MMPerM,
					Expanded: units.Slope(a.Expanded) * units.MMPerM}
			}
			out = append(out, x)
		}
	}
}
