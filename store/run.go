package store

import (
	"encoding/json"
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
	Kind      string // "sweep", "half-turn", "traverse", ...
	Subject   string // what is measured, by its configured name; empty: there is only one
	Purpose   string // "check": does it still hold; "adjust": something is being moved
	Setup     sweep.Setup
	StartedAt time.Time
	BootID    string        // empty: the store's
	BootTime  time.Duration // since that boot
	ClockSet  bool          // whether StartedAt can be believed
	Note      string

	// Own is a JSON object with what a measurement of this kind needs beside the setup to be fitted again: positions,
	// heights, which side. nil: nothing.
	Own json.RawMessage

	TemperatureC *float64 // of the machine or the shop; nil: not known
	Meter        *Meter   // of the spindle; kept with the run. nil: not known

	// SpindleHours are those when it began, of a run that is stored later than it was taken: the meter has gone on
	// since. Not with Meter.
	SpindleHours *float64
}

// Run is one stored measurement.
type Run struct {
	ID        int64     `json:"id"`
	Kind      string    `json:"kind"`
	Subject   string    `json:"subject,omitempty"` // what was measured, by its configured name
	Purpose   string    `json:"purpose"`
	Outcome   Outcome   `json:"outcome"` // empty: still going on
	StartedAt time.Time `json:"started_at"`
	// of an interrupted run: its last reading, as far as that is known
	EndedAt   time.Time     `json:"ended_at,omitzero"`
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
	// what was done step by step; this and the next of a run that was asked for by its number
	Log string `json:"log,omitempty"`

	Own json.RawMessage `json:"own,omitempty"` // what its kind needs beside the setup
	// the newest result as it is stored, of any kind; nil: none, or a spoiled one
	Raw json.RawMessage `json:"-"`

	ReadingsGone bool   `json:"readings_gone,omitempty"`    // they were let go when they grew old
	Missing      int    `json:"readings_missing,omitempty"` // readings that were lost with a damaged file
	Origin       string `json:"imported_from,omitempty"`    // the file it was brought in from
	// what of it is not to be believed; empty: all is as it was written
	Damage string `json:"damage,omitempty"`

	// Unstored says that it is not in the store: the daemon holds it in memory and tries again each second. Only the
	// daemon gives such a run.
	Unstored bool `json:"unstored,omitempty"`

	TemperatureC *float64 `json:"temperature_c,omitempty"` // of the machine or the shop when it began; nil: not known
	SpindleHours *float64 `json:"spindle_hours,omitempty"` // of the spindle when it began; nil: not known
}

// Sweeps reports whether the run is concluded by a sweep's result.
func (r Run) Sweeps() bool { return sweeps(r.Kind) }

// sweeps reports whether runs of a kind are concluded by a sweep.Result.
func sweeps(kind string) bool { return kind == "sweep" || kind == "half-turn" }

// RunKey labels a count of runs.
type RunKey struct {
	Kind    string
	Outcome Outcome
}

func micros(t time.Time) int64      { return t.UnixMicro() }
func fromMicros(us int64) time.Time { return time.UnixMicro(us).UTC() }

func durationFromMicros(us int64) time.Duration { return time.Duration(us) * time.Microsecond }
