package api

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

// HeldBack is the newest sweep with a result that has ended and is not stored; nil when all are.
func (s *Snapshot) HeldBack() *UnstoredRun {
	for i := len(s.Unstored) - 1; i >= 0; i-- {
		if x := &s.Unstored[i]; x.Kind == Sweeping && x.Result != nil && x.Outcome == Finished {
			return x
		}
	}
	return nil
}

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

// StateSilent is the state of an instrument that ought to send and does not, though its port is open.
const StateSilent = "silent"

// TriggerRole is the role of a port on which a foot switch or button takes the station.
const TriggerRole = "trigger"

// MachineRole is the role of a port on which the machine is asked about itself. Readings go on without it.
const MachineRole = "machine"

// PositionRole is the role of the port of a linear scale.
const PositionRole = "position"

// AngleState is where the arm points.
type AngleState struct {
	ArmedUntil *time.Time `json:"armed_until"` // until when planned checks may move the arm; nil: they may not
	Source     string     `json:"source"`
	Deg        *float64   `json:"deg"` // in [0,360); nil when not known
	AgeS       *float64   `json:"age_s"`
	Zero       *ZeroState `json:"zero,omitempty"` // of an encoder; nil where none tells the angle
}

// ZeroState says whether it is known where 0 degrees is, and how a person establishes it: point the arm right, press,
// turn it towards the back, press.
type ZeroState struct {
	Known bool           `json:"known"`
	From  sweep.ZeroFrom `json:"from"`
	At    *time.Time     `json:"at"`   // when a person pointed the arm; null: no person has
	Next  ZeroStep       `json:"next"` // the press that is due
	Say   string         `json:"say"`  // what to do before it
	Why   string         `json:"why"`  // why the zero is not known; empty: it is

	ZeroDeg  *float64 `json:"zero_deg"` // the spindle angle at which the encoder shows 0; null: not known
	Reversed bool     `json:"reversed"` // the encoder counts up clockwise, seen from above
	// the spindle angle at the index mark; null: there is none, or it was not passed yet
	IndexDeg *float64 `json:"index_deg"`
}

// ZeroStep is one press of the two.
type ZeroStep string

// Presses that establish a zero.
const (
	ZeroRight ZeroStep = "right"
	ZeroBack  ZeroStep = "back"
)

// PositionState is where an axis stands.
type PositionState struct {
	Source string   `json:"source"`
	MM     *float64 `json:"mm"` // nil: not known
	AgeS   *float64 `json:"age_s"`
}

// InputState is an input line of the machine.
type InputState struct {
	Name   string  `json:"name"`
	State  string  `json:"state"` // on | off | unknown
	SinceS float64 `json:"since_s"`
	Error  string  `json:"error"`
}

// HoursState is the running time of the spindle that the record holds.
type HoursState struct {
	Hours *float64 `json:"hours"` // nil: not known yet
	From  string   `json:"from"`  // what counts them
	Error string   `json:"error"`
}

// ClockState says whether the wall clock can be believed.
type ClockState struct {
	Set bool `json:"set"`
}

// StoreState says whether what is measured is being kept.
type StoreState struct {
	OK      bool   `json:"ok"`
	Error   string `json:"error"`
	Damaged string `json:"damaged,omitempty"` // how, and what to do; empty: no damage was met, or it was mended
}

// TroubleKinds are what can be amiss with the daemon's own chores: the record is damaged, a backup failed, a scheduled
// check was missed or stopped.
var TroubleKinds = []string{"record", "backup", "check"}

// CheckState is how the unattended checks stand.
type CheckState struct {
	Next  string `json:"next"`  // RFC 3339; empty: none planned
	Moves bool   `json:"moves"` // the arm is moved by a motion controller; see AngleState.ArmedUntil
	// what prevents the next check unless it changes; empty: nothing
	WhyNot []string `json:"why_not"`
	Say    string   `json:"say"` // the last thing that was done or waited for, in words
	DryRun bool     `json:"dry_run"`
}
