// Package history works out what the stored checks come to: the drift and the next date by package sweep/drift, and how
// the other measurements of the assembly stand. A Follower does it again after each change of the record, on a
// goroutine of its own: neither a measurement nor a reader waits for it.
package history
