// Package session is the one place that owns what is happening now: which device says what, where the arm is, and the
// sweep in hand. One goroutine owns all of it; everybody else sends it batches of samples or requests, and gets snapshots
// that never change.
//
// Nothing downstream can hold it up: chunks for the store go through a queue of their own (archivist), fits of whole runs
// are made on another goroutine, and a face that is slow gets fewer snapshots.
package session
