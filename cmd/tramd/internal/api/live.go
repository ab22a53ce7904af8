package api

import (
	"encoding/json"
	"time"

	"tramd/sweep"
)

// SweepPhase is how far an attended sweep has come.
type SweepPhase string

// Phases of a sweep.
const (
	PhaseIdle    SweepPhase = "idle"    // none asked for
	PhaseWaiting SweepPhase = "waiting" // asked for; the arm has not moved, or a device is missing
	PhaseTurning SweepPhase = "turning" // readings are being taken

	PhaseReturning SweepPhase = "returning" // all readings are in; a program still moves the arm: keep clear
	PhaseStopping  SweepPhase = "stopping"  // a program's arm is being stopped or retracted: keep clear

	PhaseFitting SweepPhase = "fitting" // all readings are in, and the arm stands
)

// SweepState is the sweep in hand.
type SweepState struct {
	Phase       SweepPhase     `json:"phase"`
	Run         int64          `json:"run"`
	Kind        string         `json:"kind"` // sweep | half-turn | traverse | bar | travel | cross; empty when idle
	Started     *time.Time     `json:"started"`
	TurnsWanted int            `json:"turns_wanted"`
	TurnsDone   float64        `json:"turns_done"`
	Readings    int            `json:"readings"`
	Untagged    int            `json:"untagged"` // readings whose angle is not known; stored, not fitted
	Sectors     string         `json:"sectors"`  // 72 characters, one for each 5 degrees from 0: '1' seen, '0' not yet
	Stations    []StationState `json:"stations"` // where the arm is turned from station to station
	Wanted      string         `json:"wanted"`   // the indicator whose reading is to be typed now; empty: none is
	Say         string         `json:"say"`      // what the person should do next, in words
	Result      *sweep.Result  `json:"result"`   // the live lean by the full model; nil while it cannot be fitted
	// what is wrong with it, in words; empty when it holds the newest reading
	Live string `json:"live"`

	ResultReadings int `json:"result_readings"` // counted in the result, those left out included
	// since the newest reading in it was measured; nil without a result
	ResultAgeS *float64 `json:"result_age_s"`

	WhyNot   string         `json:"why_not"`  // why there is no live fit yet
	Measured *MeasuredState `json:"measured"` // of a measurement that is no sweep; nil: it is one
	Curve    []CurvePoint   `json:"curve"`    // mean reading by angle, for the plot
	Doubts   []sweep.Doubt  `json:"doubts"`   // stretches whose angles turned out wrong; stored, not fitted
	Stored   int            `json:"stored"`   // how many of the readings are safely on disk
}

// StationState is one announced angle.
type StationState struct {
	Deg       float64  `json:"deg"`
	State     string   `json:"state"` // ahead | here | taken | skipped
	ReadingMM *float64 `json:"reading_mm"`
}

// CurvePoint is the mean of the readings in one degree of the circle, of one indicator.
type CurvePoint struct {
	Deg       float64 `json:"deg"`
	MM        float64 `json:"mm"`
	Indicator int     `json:"indicator"`
}

// Sweeping is the kind of a run that is a sweep.
const Sweeping = "sweep"

// HalfTurn is the kind of a run that zeroes a pair by a half turn.
const HalfTurn = "half-turn"

// Outcome is how a run ended, in the word that the record stores.
type Outcome string

// Outcomes.
const (
	Finished  Outcome = "finished"
	Abandoned Outcome = "abandoned"
	Failed    Outcome = "failed"
)

// LastRun is what the last finished sweep said.
type LastRun struct {
	Run    int64        `json:"run"`
	At     time.Time    `json:"at"`
	Result sweep.Result `json:"result"`

	Started time.Time `json:"-"` // the time that the drift knows it by; zero: not known
}

// Found returns since when an alarm of the drift stands, by the ends of checks, and whether more than one check found
// it. The drift dates a check by its start, so the one that found it alone ended after that.
func (r *LastRun) Found(a Alarm) (since time.Time, again bool) {
	const begun = 10 * time.Second // a slow card may take so long to store that a run has begun; no sweep is quicker
	if r == nil || !r.At.After(a.Since) {
		return a.Since, false
	}
	if !r.Started.IsZero() && !r.Started.After(a.Since.Add(begun)) {
		return r.At, false
	}
	return a.Since, true
}

// UnstoredRun is a run that has ended and is held in memory alone.
type UnstoredRun struct {
	Run      int64         `json:"run"`
	Kind     string        `json:"kind"`
	Purpose  string        `json:"purpose"`
	Started  time.Time     `json:"started"`
	At       time.Time     `json:"at"`
	Outcome  Outcome       `json:"outcome"`
	Why      string        `json:"why"` // it ended so
	Readings int           `json:"readings"`
	Stored   int           `json:"stored"` // of the readings
	Result   *sweep.Result `json:"result"` // nil: there is none
}

// RunKey labels a count of runs.
type RunKey struct{ Kind, Outcome string }

// MeasuredState is a measurement in hand.
type MeasuredState struct {
	Subject string       `json:"subject"`
	Places  []PlaceState `json:"places"`
	// what the readings so far say, as in the record; null until they say something
	Found json.RawMessage `json:"result"`
	Say   string          `json:"say"` // that in one line

	Curve []CourseValue `json:"curve,omitempty"` // of an axis that moves: means of the readings over short pieces
	Act   string        `json:"act,omitempty"`   // of such: what taking means now: begin | end
	Moves bool          `json:"moves,omitempty"` // a motor moves the axis and the places are taken by themselves
}

// CourseValue is the mean of the readings over a short piece of a line.
type CourseValue struct {
	At    float64 `json:"at"`
	MM    float64 `json:"mm"`
	Group string  `json:"group,omitempty"`
}

// PlaceState is one place of it.
type PlaceState struct {
	Name      string   `json:"name"`
	Group     string   `json:"group,omitempty"`
	At        float64  `json:"at"`
	State     string   `json:"state"` // ahead | here | taken | skipped
	ReadingMM *float64 `json:"reading_mm"`
}

// Armed is what the person who arms gets to know.
type Armed struct {
	Key      string    `json:"key,omitempty"` // for the start, within a minute; none for an unattended arming
	Until    time.Time `json:"until"`
	Cautions []string  `json:"cautions"`
	Commands []string  `json:"commands"` // all that will be sent, in order
	Stop     string    `json:"stop"`     // what is sent when anything is wrong
	Retract  []string  `json:"retract"`  // what may be sent after that; see package motion
	AboutS   float64   `json:"about_s"`  // without the time that readings take to settle
}

// Recorded is what is known of a measurement that was recorded elsewhere and is to be brought into the record.
type Recorded struct {
	Name         string // to be shown
	At           time.Time
	Purpose      string   // "check" or "adjust"
	TemperatureC *float64 // of the machine at that time, in degrees Celsius; nil: not known
	Kind         string   // what was measured, where its columns do not say; empty: the columns say it
	Subject      string   // which of them was measured, by its name; empty: there is only one
	Tolerance    string   // as written; empty: the machine's
	Own          []byte   // JSON: what a measurement of its kind needs beside the setup; nil: nothing
	Again        bool     // even if the same readings were brought in before
}
