package api

import (
	"fmt"
	"time"

	"tramd/sweep"
	"tramd/sweep/stack"
)

// Job is the whole assembly as it stands: every step in its order, and what all relations together say.
type Job struct {
	Machine string        `json:"machine"`
	Steps   []Step        `json:"steps"`
	Next    *int          `json:"next"` // the step to do now, from 0; null: none is left
	Say     string        `json:"say"`
	Stack   *stack.Answer `json:"stack"` // null: no relation is measured
}

// Step is one step.
type Step struct {
	Name    string        `json:"name"`
	Kind    string        `json:"kind"`
	Of      string        `json:"of,omitempty"`
	Do      string        `json:"do,omitempty"`
	State   string        `json:"state"`
	Upset   string        `json:"upset,omitempty"` // by what
	Run     int64         `json:"run,omitempty"`   // the newest measurement; 0: none
	At      *time.Time    `json:"at"`
	Verdict sweep.Verdict `json:"verdict"`
	Now     []Figure      `json:"now"`
	First   int64         `json:"first_run,omitempty"` // the first measurement of this job; 0: there is only one
	Before  []Figure      `json:"before"`
	Command string        `json:"command"` // what takes it again
	Alarms  []string      `json:"alarms"`  // that stand, in words
	Due     *time.Time    `json:"due"`     // when it is to be checked next; null: too little is known
	Moves   bool          `json:"moves"`   // adjusters of its joint are described: there is advice on it
	Stepped bool          `json:"stepped"` // a motor moves the axis: its motion is armed first
}

// Measured is every number of a run that is no sweep.
type Measured struct {
	Title   string        `json:"title"`
	Figures []Figure      `json:"figures"`
	Verdict sweep.Verdict `json:"verdict"`
	Picture bool          `json:"picture"` // it has one
}

// Figure is one number that a measurement gives, with its uncertainty and verdict.
type Figure struct {
	Name    string        `json:"name"` // slope, straightness, tilt, run-out at 10 mm, ...
	Value   float64       `json:"value"`
	U       float64       `json:"U"`    // expanded, for 95 %
	Unit    string        `json:"unit"` // mm/m or mm
	Verdict sweep.Verdict `json:"verdict"`
}

// String returns the figure as people read it.
func (f Figure) String() string {
	digits, sign := 4, ""
	if f.Unit == "mm/m" {
		digits, sign = 3, "+"
	}
	return fmt.Sprintf("%s %"+sign+".*f ± %.*f %s", f.Name, digits, f.Value, digits, f.U, f.Unit)
}
