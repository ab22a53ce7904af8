package unattended

import "time"

// Plan is how unattended checks are to go.
type Plan struct {
	When  When
	Hours float64 // of the spindle since the last check; 0: they do not count
	// a stepped program turns the arm, and is stopped by its own watch; else somebody or something else does
	Moves      bool
	DryRun     bool          // everything but the check itself
	Retry      bool          // one more try after a failure
	RetryAfter time.Duration // how long after
	WarmUp     time.Duration // for which all conditions must have held
	Patience   time.Duration // for conditions, from the slot on
	StillMM    float64       // most that an indicator at rest may wander
	MinMM      float64       // travel of the indicators; both 0: not watched
	MaxMM      float64
}

// When says which slots of the schedule bring a check.
type When string

// Slots that bring a check.
const (
	Always  When = "always"
	WhenDue When = "due" // only from when the drift model, or the spindle's hours, ask for one
)

// Facts are what is known at one moment.
type Facts struct {
	Now        time.Time
	ClockSet   bool
	ArmedUntil time.Time // zero: not armed. It is for what is said beforehand; Barred decides
	Barred     Bar       // why the arm may not be moved now, where Moves
	Busy       string    // what else is being measured; empty: nothing
	Gauges     []Gauge
	NextCheck  *time.Time // by the drift model; nil: it cannot say
	Hours      *float64   // of the spindle since the last check; nil: not known
	Taking     *Taking    // the check that was begun; nil once its end was reported
}

// Bar is why the arm may not be moved, as package interlock has it; the zero Bar lets it.
type Bar struct {
	Why   string
	Final bool // waiting does not cure it
}

// Gauge is an indicator.
type Gauge struct {
	Name   string
	Live   bool
	MM     float64 // its reading, where Live
	SpanMM float64 // how far it has wandered in the last seconds
}

// Taking is how the check that was begun stands.
type Taking struct {
	Run    int64
	Ended  bool
	OK     bool   // it ended with a result
	Why    string // where not
	Hazard bool   // what ended it was a danger: late or refused motion, travel, a stop asked for
}
