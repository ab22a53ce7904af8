// Package tui shows what goes on in a terminal: the present state, a run while it is taken, and what a port sends. It
// takes the keys that steer a run.
package tui
