// Package hours keeps count of how long the spindle has run. Meter is pure: what a running signal, a counter of the
// machine or a person says goes in, the hours come out. Recorder keeps them in the record.
//
// The hours go on, whatever becomes of a counter: a controller that was changed counts from nothing, or from what its
// last machine ran. A reading is believed at once where the counter can have come to it in the time that has passed.
// Any other is taken for a slip (a counter that is read while it changes, a controller that starts) until further ones
// bear it out; then the counter is another one, and the hours go on by what it adds from there.
package hours
