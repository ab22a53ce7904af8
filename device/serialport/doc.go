// Package serialport opens serial ports: it sets the line up, claims the port against other programs, and says in one
// sentence what is wrong with a port and what to do about it. Only this package knows the serial library.
//
// A [Port] is read through its descriptor by its owner. A [Modem] is a port of which only the modem lines are
// used; a [Probe] listens to one whose speed is still to be found.
package serialport
