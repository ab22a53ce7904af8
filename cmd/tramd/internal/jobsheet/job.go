package jobsheet

import (
	"time"

	"tramd/cmd/tramd/internal/display"
	"tramd/sweep"
)

// Stage is one sweep of the job and what was done after it.
type Stage struct {
	Run       int64              `json:"run"`
	StartedAt time.Time          `json:"started_at"`
	Purpose   string             `json:"purpose"`
	Verdict   string             `json:"verdict"`
	Tilt      *float64           `json:"tilt_mm_per_m"` // null: not measured
	TiltHalf  *float64           `json:"tilt_U_mm_per_m"`
	Nod       *float64           `json:"nod_mm_per_m"`
	NodHalf   *float64           `json:"nod_U_mm_per_m"`
	Moved     map[string]float64 `json:"moved"` // after it, by adjuster
	Told      []string           `json:"told"`  // what was logged after it, in words
}

// changed reports whether something was done to the machine after this sweep.
func (s *Stage) changed() bool { return len(s.Moved) > 0 || len(s.Told) > 0 }

// pause parts two jobs: a person who has moved nothing for so long has gone home.
const pause = 6 * time.Hour

// Last cuts the last job out of a record: sweeps with something moved between them, or measured again within hours.
func Last(stages []Stage) []Stage {
	from := max(0, len(stages)-1)
	for from > 0 {
		before, after := &stages[from-1], &stages[from]
		if gap := after.StartedAt.Sub(before.StartedAt); !before.changed() && (gap < 0 || gap > pause) {
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
