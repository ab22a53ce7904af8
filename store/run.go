package store

import (
	"time"

	"tramd/sweep"
)

// Outcome is how a run ended; empty while it goes on.
type Outcome string

// Outcomes.
const (
	Finished    Outcome = "finished"
	Abandoned   Outcome = "abandoned"   // the person broke it off
	Failed      Outcome = "failed"      // it could not go on, or its readings could not be fitted
	Interrupted Outcome = "interrupted" // the program stopped first; found at the next start
)

func (o Outcome) known() bool {
	return o == Finished || o == Abandoned || o == Failed || o == Interrupted
}

// NewRun is what is known of a run when it begins.
type NewRun struct {
	Kind      string // "sweep"
	Purpose   string // "check": does it still hold; "adjust": something is being moved
	Setup     sweep.Setup
	StartedAt time.Time
	BootID    string        // empty: the store's
	BootTime  time.Duration // since that boot
	ClockSet  bool          // whether StartedAt can be believed
	Note      string

	TemperatureC *float64 // of the machine or the shop; nil: not known
	Meter        *Meter   // of the spindle; kept with the run. nil: not known
}

// Run is one stored measurement.
type Run struct {
	ID        int64         `json:"id"`
	Kind      string        `json:"kind"`
	Purpose   string        `json:"purpose"`
	Outcome   Outcome       `json:"outcome"` // empty: still going on
	StartedAt time.Time     `json:"started_at"`
	EndedAt   time.Time     `json:"ended_at,omitzero"` // of an interrupted run: its last reading, as far as that is known
	ClockSet  bool          `json:"clock_set"`
	BootID    string        `json:"boot_id"`
	BootTime  time.Duration `json:"boot_time_ns"`
	Setup     sweep.Setup   `json:"setup"`
	Tolerance string        `json:"tolerance"` // as written; the limit is in Setup.Tolerance
	Readings  int           `json:"readings"`
	Untagged  int           `json:"untagged"`         // readings whose angle is not known
	Doubts    []sweep.Doubt `json:"doubts,omitempty"` // of a run that was asked for by its number
	Result    *sweep.Result `json:"result"`           // the newest; nil when there is none
	Why       string        `json:"why"`
	Note      string        `json:"note"`
	Log       string        `json:"log,omitempty"` // what was done step by step; this and the next of a run that was asked for by its number

	ReadingsGone bool `json:"readings_gone,omitempty"` // they were let go when they grew old

	TemperatureC *float64 `json:"temperature_c,omitempty"` // of the machine or the shop when it began; nil: not known
	SpindleHours *float64 `json:"spindle_hours,omitempty"` // of the spindle when it began; nil: not known
}

// RunKey labels a count of runs.
type RunKey struct {
	Kind    string
	Outcome Outcome
}

func micros(t time.Time) int64      { return t.UnixMicro() }
func fromMicros(us int64) time.Time { return time.UnixMicro(us).UTC() }

func durationFromMicros(us int64) time.Duration { return time.Duration(us) * time.Microsecond }
