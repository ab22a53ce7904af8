// Package motion has a motion controller turn the spindle from station to station, for a sweep that no hand turns, or
// move a carriage from place to place along a traverse. What is said here of the arm holds for both.
//
// [Machine] decides everything and does no I/O. It takes events: what the line says and what the indicators read. It
// returns acts: what to send or report. [Runner] is the loop around it that owns the serial line.
//
// # What is safe about it
//
// Nothing moves until a person has armed the motion and then started it, and then only while package interlock says
// that it may ([Hooks].Bar, asked at every tick). Each command is sent alone and must be acknowledged in its time
// before the next; the machine moves at most one station at a time, at the feed of the configuration, inside its soft
// limits, and goes on no sooner than the arm can be there at that feed. Each of these ends the program with the stop
// command, and says why: a late, refused or unasked-for acknowledgement, an indicator that leaves its travel, goes
// silent or shows one number while the arm turns, a station that does not settle, a line that breaks, a request to
// stop, a bar, and a gap between two of the runner's own ticks (a computer that slept or was overloaded watched nothing
// meanwhile). All of it holds in every phase, up to the last command of the end: the program is over when the arm
// stands, not when the last reading is in.
//
// # A line that breaks
//
// The stop command is tried on it all the same, since a line may be broken one way only. What became of it is said.
//
// # After the stop
//
// Nothing else is sent, with one exception: a retract, which is motion again, where one is configured. It begins only
// when the controller has said that it stands, in words that cannot be the acknowledgement of an earlier command, and
// only after a reading outside the travel, an indicator silent or frozen, or a station that did not settle. A stop that
// a person, the daemon's end or another hand at the machine asked for, a controller that refuses, is late or out of
// step, a gap, and a broken line: after these everything stays where it is, since each may be an emergency and in none
// of them is it known what the controller would do. Whatever of that comes while it waits or retracts stops it for
// good. Readings are not watched in a retract: they are what it gets away from.
//
// # What it cannot do
//
// It cannot see a collision and cannot stop a controller that no longer listens. One acknowledgement too many that
// falls into the second half of a move is seen only when the true one follows; nothing is sent in between (see
// [Machine.Tick]). A person who watches it keeps a hand at the machine's own stop; the spindle's power is isolated,
// since an arm is on it.
package motion
