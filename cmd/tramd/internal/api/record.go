package api

import (
	"encoding/json"
	"time"

	"tramd/sweep"
)

// Run is a run of the record. In a list its result is short: without budgets, stretches left out, form and turns.
type Run struct {
	ID        int64           `json:"id"`
	Kind      string          `json:"kind"`
	Subject   string          `json:"subject,omitempty"` // what was measured, by its configured name
	Purpose   string          `json:"purpose"`
	Outcome   string          `json:"outcome"` // empty: still going on
	StartedAt time.Time       `json:"started_at"`
	EndedAt   time.Time       `json:"ended_at,omitzero"`
	ClockSet  bool            `json:"clock_set"`
	BootID    string          `json:"boot_id"`
	BootTime  time.Duration   `json:"boot_time_ns"`
	Setup     sweep.Setup     `json:"setup"`
	Tolerance string          `json:"tolerance"` // as written; the limit is in Setup.Tolerance
	Readings  int             `json:"readings"`
	Untagged  int             `json:"untagged"` // readings whose angle is not known
	Doubts    []sweep.Doubt   `json:"doubts,omitempty"`
	Result    json.RawMessage `json:"result"` // the newest; null where there is none
	Why       string          `json:"why"`
	Note      string          `json:"note"`
	Log       string          `json:"log,omitempty"` // what was done step by step
	Own       json.RawMessage `json:"own,omitempty"` // what its kind needs beside the setup

	ReadingsGone bool   `json:"readings_gone,omitempty"`    // they were let go when they grew old
	Missing      int    `json:"readings_missing,omitempty"` // readings that were lost with a damaged file
	Origin       string `json:"imported_from,omitempty"`    // the file it was brought in from
	Damage       string `json:"damage,omitempty"`           // what of it is not to be believed
	// the daemon holds it in memory and tries again to store it
	Unstored     bool     `json:"unstored,omitempty"`
	TemperatureC *float64 `json:"temperature_c,omitempty"` // when it began; null: not known, as the next
	SpindleHours *float64 `json:"spindle_hours,omitempty"`
}

// Event is a stored event of the machine.
type Event struct {
	ID         int64              `json:"id"`
	At         time.Time          `json:"at"`
	Kind       string             `json:"kind"`
	Text       string             `json:"text"`
	Run        int64              `json:"run,omitempty"`   // the run it belongs to; 0: none
	Moved      map[string]float64 `json:"moved,omitempty"` // of adjusted: how much, by adjuster
	Tightened  *Tightened         `json:"tightened,omitempty"`
	ClockUnset bool               `json:"clock_unset,omitempty"` // At cannot be believed
	Damage     string             `json:"damage,omitempty"`      // nothing of it is to be believed
	Undone     *time.Time         `json:"undone,omitempty"`      // when a person took it back
}
