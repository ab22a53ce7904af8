package bar

import (
	"tramd/sweep"
)

// Model and ModelVersion name what concluded a result.
const (
	Model        = "bar"
	ModelVersion = 1
)

// Height is what the bar does at one height.
type Height struct {
	AtMM         float64       `json:"at_mm"`
	Eccentricity float64       `json:"eccentricity_mm"`
	TowardsDeg   float64       `json:"towards_deg"`
	U            float64       `json:"U_mm"` // expanded, of the eccentricity
	RunOut       float64       `json:"run_out_mm"`
	Verdict      sweep.Verdict `json:"verdict"`
	Roundness    *float64      `json:"roundness_mm"` // peak to valley of what is left; null where it cannot be seen
	Readings     int           `json:"readings"`

	at vector
}

// Angle is that between bar and axis.
type Angle struct {
	MMPerM     float64       `json:"mm_per_m"`
	U          float64       `json:"u_mm_per_m"`
	Expanded   float64       `json:"U_mm_per_m"`
	TowardsDeg float64       `json:"towards_deg"` // the way the bar leans as it nears the nose
	Verdict    sweep.Verdict `json:"verdict"`
}

// Nose is the eccentricity where the spindle ends.
type Nose struct {
	Eccentricity float64 `json:"eccentricity_mm"`
	U            float64 `json:"U_mm"`
	TowardsDeg   float64 `json:"towards_deg"`
	RunOut       float64 `json:"run_out_mm"`
}

// Set is a bar as it turns, or a part of it.
type Set struct {
	Heights []Height `json:"heights"`
	Angle   *Angle   `json:"bar_angle"`
	AtNose  *Nose    `json:"at_nose"`
}

// Result is what a bar test says; its names are a contract.
type Result struct {
	Kind string `json:"kind"`
	Set
	Collet       *Set            `json:"collet,omitempty"`
	BarItself    *Set            `json:"bar_itself,omitempty"`
	BentBy       *float64        `json:"bent_by,omitempty"` // how far the heights depart from one straight bar, in standard deviations
	Readings     int             `json:"readings"`
	Rejected     int             `json:"rejected"`
	Verdict      sweep.Verdict   `json:"verdict"`
	Warnings     []sweep.Warning `json:"warnings"`
	Model        string          `json:"model"`
	ModelVersion int             `json:"model_version"`
}
