package metrics

import (
	"context"
	"time"

	"tramd/sweep"
	"tramd/sweep/units"
)

// rails is what linnet's record says of its assembly.
func rails(context.Context) Assembly {
	axis := func(slope units.Slope) *sweep.Axis { return &sweep.Axis{Slope: slope, Expanded: 0.25e-4} }
	return Assembly{
		Relations: []Relation{{Name: "travel_to_table", Axis: "tilt", Value: axis(0.125e-3), Limit: 0.25e-3}},
		Traverses: []Traverse{{Name: "left rail", Slope: axis(-0.5e-3), Limit: 0.25e-3}},
		Bars:      []Bar{{Name: "shank", RunOut: 0.125e-4, Expanded: 0.25e-5, Limit: 0.5e-4}},
		Standings: []Standing{{Name: "left rail", Measurement: "traverse", Alarms: []string{"trend"},
			Next: time.Unix(1772440200, 0)}},
	}
}
