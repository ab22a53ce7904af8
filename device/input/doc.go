// Package input reads an input line of the machine: one thing that is on or off, such as a spindle that runs or a door
// that is shut. A line comes from a file of the kernel that says 0 or 1, from a modem line of a serial adapter, or from
// a bit that a controller is asked for over Modbus (by a [device.Device], which feeds it).
//
// [Filter] is the whole judgement, pure. A change counts once it has held for the debounce time. What has not been read
// for the stale time, or cannot be read, is unknown, and unknown is never taken for off or for on: a wire that came
// loose at the computer's end must not look like a machine that rests. A wire that comes loose at the machine's end
// does read as one of the two, and only the wiring can make that the safe one: let the line be on, with a current in
// it, while all is well.
package input
