package session

import (
	"time"

	"tramd/sweep"
)

// Snapshot is everything a face of the program may show, at one moment. It is never changed after it was handed out.
// Its JSON is what the page and the terminal read.
type Snapshot struct {
	At       time.Time      `json:"at"`
	Machine  string         `json:"machine"`
	Limit    float64        `json:"limit_mm_per_m"` // 0 when no tolerance was given
	LimitAs  string         `json:"tolerance"`      // as written in the config: "0.02/300"
	Devices  []DeviceState  `json:"devices"`
	Angle    AngleState     `json:"angle"`
	Position *PositionState `json:"position"` // of the axis that [position] speaks of; nil: nothing says it
	Sweep    SweepState     `json:"sweep"`
	// the last finished sweep in the store, nil when there is none
	Last *LastRun `json:"last"`
	// runs that have ended and are held in memory alone, in order
	Unstored  []UnstoredRun     `json:"unstored,omitempty"`
	Store     StoreState        `json:"store"`
	Clock     ClockState        `json:"clock"`
	Runs      map[RunKey]uint64 `json:"-"` // runs ended, by kind and outcome, since the database was made
	NextCheck *time.Time        `json:"next_check"`
	NextWhy   string            `json:"next_check_why"` // why then, in a sentence
	Troubles  map[string]string `json:"troubles"`       // of the daemon's own chores, by kind: why; see TroubleKinds
	Check     *CheckState       `json:"check"`          // unattended checks; nil: none are planned
	Inputs    []InputState      `json:"inputs"`         // lines of the machine
	Hours     *HoursState       `json:"hours"`          // of the spindle; nil: nothing counts them
	Drift     *DriftState       `json:"drift"`          // nil until the stored checks say something
	Assembly  []StandingState   `json:"assembly"`       // of the traverses, bars and travels that were checked
	// two indicators lie opposite each other: a half turn can zero them
	Paired bool `json:"paired"`
	// of two opposite indicators, after a sweep or a half turn with them; nil: their offsets are not known
	Pair *PairState `json:"pair"`
}

// DriftState is what the stored checks of the machine, taken together, say today.
type DriftState struct {
	TiltRate *float64 `json:"tilt_mm_per_m_per_day"` // nil where there is too little to say
	NodRate  *float64 `json:"nod_mm_per_m_per_day"`
	Alarms   []Alarm  `json:"alarms"` // those that stand

	Events map[string]time.Time `json:"-"` // when something of a kind last happened that made the machine another one
}

// StandingState is how a measurement of the assembly holds.
type StandingState struct {
	Name      string     `json:"name"`
	Kind      string     `json:"kind"`   // traverse | bar | run_out | travel | cross
	Alarms    []Alarm    `json:"alarms"` // those that stand
	NextCheck *time.Time `json:"next_check"`
	NextWhy   string     `json:"next_check_why"` // why then, in a sentence; empty without a date
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

// RunKey labels a count of runs.
type RunKey struct{ Kind, Outcome string }

// DeviceState is one instrument: an indicator, each of several on one port too, an encoder, a trigger.
type DeviceState struct {
	Name       string            `json:"name"`
	Role       string            `json:"role"` // indicator | angle | position | trigger | machine
	Port       string            `json:"port"`
	State      string            `json:"state"` // absent | opening | settling | live | silent | lost
	Talk       string            `json:"talk"`  // talking | silent | not_expected; empty while the port is not open
	SinceS     float64           `json:"since_s"`
	Readings   uint64            `json:"readings"`
	Faults     map[string]uint64 `json:"faults"` // bad frames by reason
	Reconnects uint64            `json:"reconnects"`
	Asked      uint64            `json:"asked,omitempty"`     // questions to an instrument that is asked
	Answered   uint64            `json:"answered,omitempty"`  // of those
	AnswerMS   float64           `json:"answer_ms,omitempty"` // from the latest question to the last byte of its answer
	ReadingMM  *float64          `json:"reading_mm"`          // nil: none, or too old to be shown
	AgeS       *float64          `json:"age_s"`
	// of the reading; this and the next two are nil without one
	RateMMPerS *float64 `json:"rate_mm_per_s,omitempty"`
	LagMM      *float64 `json:"lag_mm,omitempty"` // the surface is at the reading plus so much
	// standard uncertainty of that, as one of two that are compared
	UMM   *float64 `json:"u_mm,omitempty"`
	Error string   `json:"error"`
}

// AngleState is where the arm points.
type AngleState struct {
	ArmedUntil *time.Time `json:"armed_until"` // until when planned checks may move the arm; nil: they may not
	Source     string     `json:"source"`
	Deg        *float64   `json:"deg"` // in [0,360); nil when not known
	AgeS       *float64   `json:"age_s"`
	Zero       *ZeroState `json:"zero,omitempty"` // of an encoder; nil where none tells the angle
}

// SweepPhase is how far an attended sweep has come.
type SweepPhase string

// Phases of a sweep.
const (
	Idle    SweepPhase = "idle"    // none asked for
	Waiting SweepPhase = "waiting" // asked for; the arm has not moved, or a device is missing
	Turning SweepPhase = "turning" // readings are being taken

	Returning SweepPhase = "returning" // all readings are in; a program still moves the arm: keep clear
	Stopping  SweepPhase = "stopping"  // a program's arm is being stopped or retracted: keep clear

	Fitting SweepPhase = "fitting" // all readings are in, and the arm stands
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

// StoreState says whether what is measured is being kept.
type StoreState struct {
	OK      bool   `json:"ok"`
	Error   string `json:"error"`
	Damaged string `json:"damaged,omitempty"` // how, and what to do; empty: no damage was met, or it was mended
}

// ClockState says whether the wall clock can be believed.
type ClockState struct {
	Set bool `json:"set"`
}
