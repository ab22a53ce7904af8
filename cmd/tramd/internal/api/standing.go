package api

import "time"

// PairState is a pair of opposite indicators on one bar whose offsets are known, and the lean along the bar, read
// without turning.
type PairState struct {
	Run    int64     `json:"run"` // the sweep or half turn that gave the offsets
	Kind   string    `json:"kind"`
	At     time.Time `json:"at"`        // when it did
	First  string    `json:"indicator"` // the indicator that the bar points with
	Less   string    `json:"less"`      // the one whose reading is taken off
	ZeroMM float64   `json:"zero_mm"`   // the difference of their readings at no lean
	ZeroU  float64   `json:"zero_u_mm"`

	// the way the bar's first indicator points: the lean is positive towards there; nil: not known
	Deg *float64 `json:"deg"`
	// Deg is where the person was asked to put it: tramd cannot see whether it was moved since
	Told   bool     `json:"told"`
	MMPerM *float64 `json:"mm_per_m"` // nil with Why
	U      float64  `json:"u_mm_per_m"`
	Half   float64  `json:"U_mm_per_m"`
	DiffMM float64  `json:"difference_mm"` // of the readings, less the zero
	Lag    float64  `json:"lag_mm_per_m"`  // what the lean has on the readings: they lag behind a bar that moves
	AgeS   *float64 `json:"age_s"`         // of the older of the two readings; nil without one
	Why    string   `json:"why,omitempty"` // why there is no lean now

	Tilt *PairAxis `json:"tilt"` // from two places of the bar at right angles; nil until it was read at both
	Nod  *PairAxis `json:"nod"`
}

// PairAxis is one axis as the pair saw it.
type PairAxis struct {
	MMPerM float64   `json:"mm_per_m"`
	Half   float64   `json:"U_mm_per_m"`
	At     time.Time `json:"at"` // when the bar last lay along it
}

// DriftState is what the stored checks of the machine, taken together, say today.
type DriftState struct {
	TiltRate *float64 `json:"tilt_mm_per_m_per_day"` // nil where there is too little to say
	NodRate  *float64 `json:"nod_mm_per_m_per_day"`
	Alarms   []Alarm  `json:"alarms"` // those that stand

	Events map[string]time.Time `json:"-"` // when something of a kind last happened that made the machine another one
}

// AlarmKinds are what an alarm can be about: something moved, it is moving, it is outside its tolerance.
var AlarmKinds = []string{"shift", "trend", "outside"}

// Alarm is one thing found wrong with the machine.
type Alarm struct {
	Kind  string    `json:"kind"`
	Axis  string    `json:"axis"` // tilt | nod | both
	Since time.Time `json:"since"`
	Size  float64   `json:"size_mm_per_m"` // how far it moved, or how far outside it is
	Text  string    `json:"text"`          // in a sentence
}

// StandingState is how a measurement of the assembly holds.
type StandingState struct {
	Name      string     `json:"name"`
	Kind      string     `json:"kind"`   // traverse | bar | run_out | travel | cross
	Alarms    []Alarm    `json:"alarms"` // those that stand
	NextCheck *time.Time `json:"next_check"`
	NextWhy   string     `json:"next_check_why"` // why then, in a sentence; empty without a date
}
