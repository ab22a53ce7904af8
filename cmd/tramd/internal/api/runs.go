package api

import (
	"encoding/json"

	"tramd/sweep"
)

// Imported is what became of a recorded measurement that was brought in.
type Imported struct {
	Run       int64           `json:"run"`
	Kind      string          `json:"kind"`
	Tolerance string          `json:"tolerance,omitempty"`
	Result    json.RawMessage `json:"result"`

	Sweep *sweep.Result `json:"-"` // of a sweep
}

// Refitted is a stored run of whatever kind, fitted again.
type Refitted struct {
	Run       int64           `json:"run"`
	Kind      string          `json:"kind,omitempty"` // empty: a sweep
	Before    json.RawMessage `json:"before"`         // null where the run had no result
	Now       json.RawMessage `json:"now"`
	Tolerance string          `json:"tolerance,omitempty"`

	Sweep *sweep.Result `json:"-"` // Now, of a sweep
}

// Separated holds spindle and loose plate apart. The plate's slope is positive where it rises to + on the axis.
type Separated struct {
	Spindle Axes `json:"spindle"`
	Plate   Axes `json:"plate"`
}

// Axes are two axes as a result writes them.
type Axes struct {
	Tilt *sweep.Axis `json:"tilt"`
	Nod  *sweep.Axis `json:"nod"`
}
