// Package daemon builds the running program out of its parts, starts them, and stops them in an order that loses
// nothing: first the pages, then the readers of the ports, then the session with what it still has to store, then the
// store.
package daemon
