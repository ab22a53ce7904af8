package jobsheet

import (
	"html/template"
	"regexp"
	"slices"
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

// in returns the assembly with its figures in the sheet's units. Pictures keep the unit that they name.
func (a *Assembly) in(s *Sheet) *Assembly {
	if a == nil {
		return nil
	}
	out := *a
	out.Say, out.Chain, out.Steps = s.Display.Words(a.Say), s.inUnits(a.Chain), slices.Clone(a.Steps)
	for i := range out.Steps {
		step := &out.Steps[i]
		step.Upset, step.Before, step.Now = s.Display.Words(step.Upset), s.numbers(step.Before), s.numbers(step.Now)
	}
	return &out
}

// negative finds a number's sign, to be written as wide as the plus.
var negative = regexp.MustCompile(`-(\d)`)

func (s *Sheet) numbers(in []Number) []Number {
	out := slices.Clone(in)
	for i := range out {
		out[i].Text = negative.ReplaceAllString(s.Display.Words(out[i].Text), "−$1")
	}
	return out
}
