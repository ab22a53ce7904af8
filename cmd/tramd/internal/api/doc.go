// Package api is what other programs and the page rely on: the JSON that leaves the program, the snapshot of what happens
// now included, and the kinds of error, each with its HTTP status. It does nothing itself.
package api
