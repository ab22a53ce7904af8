package frame

import "tramd/sweep/units"

// Stamp is a moment on the monotonic clock, in nanoseconds since the program started. Steps of the wall clock never
// touch it.
type Stamp int64

// Seconds gives the stamp in seconds.
func (s Stamp) Seconds() float64 { return float64(s) / 1e9 }

// Kind says what a frame carried.
type Kind uint8

// Kinds of sample.
const (
	Length  Kind = iota + 1 // Value is a units.Length: nanometres
	Count                   // Value is a signed encoder count
	Angle                   // Value is an angle in units of 1e-6 degree
	Index                   // the encoder's index mark, without a count of its own
	Pulse                   // something was pressed or passed; there is no value
	Level                   // a signal: Value is 1 where it is on, 0 where it is off
	RunTime                 // what a counter of running time shows: Value is in milliseconds
)

// Sample is one decoded frame.
type Sample struct {
	At      Stamp  // when the last byte of the frame arrived
	Kind    Kind   //
	Mark    bool   // a Count or Angle that was taken at the encoder's index mark
	Value   int64  // by Kind
	Channel string // the name or channel the frame carried; empty when it carried none
	Asked   Stamp  // when it was asked for; 0 when it came by itself
}

// Length gives the value of a Length sample.
func (s Sample) Length() units.Length { return units.Length(s.Value) }
