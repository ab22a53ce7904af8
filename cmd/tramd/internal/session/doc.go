// Package session is the one place that owns what is happening now: which device says what, where the arm is, and the
// sweep in hand. One lock guards all of it. A device's reader brings its batch in on its own goroutine, since a
// hand-over to another at each of a thousand reads a second costs more than the work; requests come in the same way,
// and readers get snapshots that never change.
//
// Nothing downstream can hold it up: chunks for the store go through a queue of their own (writeQueue), fits of whole
// runs are made on another goroutine, and a face that is slow gets fewer snapshots.
package session
