package jobsheet

import (
	"html/template"
	"time"
)

// Assembly is the whole assembly, from the first rail to the last check, as it stands on the page.
type Assembly struct {
	Steps []AssemblyStep
	Say   string        // what is to be done next, in words
	Chain []string      // what all relations together say, a sentence each
	Drawn template.HTML // that as a picture, SVG; empty: none
}

// AssemblyStep is one measurement of it.
type AssemblyStep struct {
	Number      int // from 1
	Name, State string
	Upset       string // by what; empty: by nothing
	Before, Now []Number
	Picture     template.HTML // SVG; empty: none
	Run         int64         // 0: not measured yet
	At          time.Time
}

// Number is one number with its interval and verdict, written out.
type Number struct{ Text, Verdict string }

// When returns the time of a step's measurement.
func (s AssemblyStep) When() string {
	if s.Run == 0 {
		return ""
	}
	return stamp(s.At)
}
