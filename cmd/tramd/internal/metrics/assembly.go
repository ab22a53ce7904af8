package metrics

import (
	"context"
	"slices"
	"time"

	"tramd/cmd/tramd/internal/api"
	"tramd/sweep"
)

// Assembly is what the record says of the relations, traverses and bars of a machine.
type Assembly struct {
	Relations []Relation
	Traverses []Traverse
	Bars      []Bar
	Standings []Standing
}

// Relation is the newest stored check of a relation on one axis.
type Relation struct {
	Name, Axis string
	Value      *sweep.Axis
	Limit      float64 // radians; 0: none
}

// Traverse is the newest stored check of a traverse.
type Traverse struct {
	Name  string
	Slope *sweep.Axis // nil: not measured
	Limit float64     // radians; 0: none
}

// Bar is the newest stored check of a bar, at the height where it runs out most. All are metres.
type Bar struct {
	Name             string
	RunOut, Expanded float64
	Limit            float64 // 0: none
}

// Standing is how one measurement holds: which kinds of alarm stand, and when it is to be checked next.
type Standing struct {
	Name, Measurement string    // its name; traverse, bar, run_out, travel or cross
	Alarms            []string  // shift, trend, outside
	Next              time.Time // zero: not known
}

var (
	relationDesc = desc("tramd_relation_radians",
		"Lean of one body against another in the newest stored check of the relation.", "relation", "axis")
	relationExpandedDesc = desc("tramd_relation_expanded_uncertainty_radians",
		"Half width of the interval about tramd_relation_radians that covers the truth in 95 % of cases.",
		"relation", "axis")
	relationLimitDesc = desc("tramd_relation_limit_radians",
		"Largest lean that the tolerance of the relation's newest check allows, either way.", "relation", "axis")
	slopeDesc = desc("tramd_traverse_slope_radians",
		"Slope of the newest stored check of the traverse.", "name")
	slopeExpandedDesc = desc("tramd_traverse_slope_expanded_uncertainty_radians",
		"Half width of the interval about tramd_traverse_slope_radians that covers the truth in 95 % of cases.", "name")
	slopeLimitDesc = desc("tramd_traverse_slope_limit_radians",
		"Largest slope that the tolerance of the traverse's newest check allows, either way.", "name")
	runOutDesc = desc("tramd_run_out_metres",
		"Run-out of the bar in its newest stored check, at the height where it is largest.", "name")
	runOutExpandedDesc = desc("tramd_run_out_expanded_uncertainty_metres",
		"Half width of the interval about tramd_run_out_metres that covers the truth in 95 % of cases.", "name")
	runOutLimitDesc = desc("tramd_run_out_limit_metres",
		"Largest run-out that was allowed in the bar's newest check.", "name")
	assemblyAlarmDesc = desc("tramd_assembly_alarm",
		"1 while an alarm stands about a measurement of the assembly: shift, trend or outside; 0 otherwise.", "name",
		"measurement", "kind")
	assemblyNextDesc = desc("tramd_assembly_next_check_timestamp_seconds",
		"When a measurement of the assembly is to be checked next.", "name", "measurement")
)

func init() {
	all = append(all, relationDesc, relationExpandedDesc, relationLimitDesc, slopeDesc, slopeExpandedDesc,
		slopeLimitDesc,
		runOutDesc, runOutExpandedDesc, runOutLimitDesc, assemblyAlarmDesc, assemblyNextDesc)
}

// assembly writes the relations, traverses and bars. Those that the record could not give are left out, as what is not
// known.
func (e emitter) assembly(ctx context.Context, read func(context.Context) Assembly) {
	if read == nil {
		return
	}
	a := read(ctx)
	for _, r := range a.Relations {
		e.gauge(relationDesc, float64(r.Value.Slope), r.Name, r.Axis)
		e.gauge(relationExpandedDesc, float64(r.Value.Expanded), r.Name, r.Axis)
		if r.Limit > 0 {
			e.gauge(relationLimitDesc, r.Limit, r.Name, r.Axis)
		}
	}
	for _, t := range a.Traverses {
		if t.Slope != nil {
			e.gauge(slopeDesc, float64(t.Slope.Slope), t.Name)
			e.gauge(slopeExpandedDesc, float64(t.Slope.Expanded), t.Name)
		}
		if t.Limit > 0 {
			e.gauge(slopeLimitDesc, t.Limit, t.Name)
		}
	}
	for _, s := range a.Standings {
		for _, kind := range api.AlarmKinds {
			e.gauge(assemblyAlarmDesc, number(slices.Contains(s.Alarms, kind)), s.Name, s.Measurement, kind)
		}
		if !s.Next.IsZero() {
			e.gauge(assemblyNextDesc, float64(s.Next.UnixMilli())/1000, s.Name, s.Measurement)
		}
	}
	for _, b := range a.Bars {
		e.gauge(runOutDesc, b.RunOut, b.Name)
		e.gauge(runOutExpandedDesc, b.Expanded, b.Name)
		if b.Limit > 0 {
			e.gauge(runOutLimitDesc, b.Limit, b.Name)
		}
	}
}
