package jobsheet

import (
	"time"

	"tramd/cmd/tramd/internal/api"
	"tramd/cmd/tramd/internal/display"
	"tramd/sweep"
)

// Stage is a stage of a job as every program reads it.
type Stage = api.Stage

// pause parts two jobs: a person who has moved nothing for so long has gone home.
const pause = 6 * time.Hour

// Last cuts the last job out of a record: sweeps with something moved between them, or measured again within hours.
func Last(stages []Stage) []Stage {
	from := max(0, len(stages)-1)
	for from > 0 {
		before, after := &stages[from-1], &stages[from]
		if gap := after.StartedAt.Sub(before.StartedAt); !before.Changed() && (gap < 0 || gap > pause) {
			break
		}
		from--
	}
	return stages[from:]
}

// Sheet is everything that stands on the page.
type Sheet struct {
	Machine, Surface, Tolerance string
	LimitMMPerM                 float64 // 0: no tolerance
	AngleSource                 string
	Indicators                  []sweep.Indicator
	Units                       map[string]string // of the moves, by adjuster
	Stages                      []Stage           // of one job, oldest first
	Cutters                     []string          // what the lean now leaves on the work, a sentence each
	Assembly                    *Assembly         // nil: nothing but sweeps is measured
	Version                     string
	Display                     display.Units // that people read
	Page                        string        // where the machine's own page is; empty: not known
}
