// Package motion has a motion controller turn the spindle from station to station, for a sweep that no hand turns.
//
// [Machine] is the whole decision, pure: what is heard and seen goes in as events, what is to be sent or told comes out as
// acts. [Runner] is the loop around it that owns the serial line.
//
// # What is safe about it
//
// Nothing moves until somebody has armed the motion and then started it: two acts (see session.Arm). Each command is sent
// alone and must be acknowledged in its time before the next; the machine moves at most one station at a time, at the feed
// of the configuration, inside its soft limits. A late or refused acknowledgement, one that nothing asked for, an indicator
// that leaves its travel or goes silent, a station that does not settle, a line that breaks, a request to stop: each ends the
// program with the stop command, and says why. So does a machine that no longer does nothing, where an input tells ([Hooks]).
//
// # After the stop
//
// Nothing else is sent, with one exception: a retract, which is motion again, where one is configured. It begins only when the
// controller has said that it stands, in words that cannot be the acknowledgement of an earlier command, and only after a
// reading outside the travel, an indicator gone silent or a station that did not settle. A stop that a person, the daemon's end
// or another hand at the machine asked for, a controller that refuses, is late or out of step, and a broken line: after these
// everything stays where it is, since each may be an emergency and in none of them is it known what the controller would do.
// Whatever of that comes while it waits or retracts stops it for good. Readings are not watched in a retract: they are what it
// gets away from.
//
// It cannot see a collision and cannot stop a controller that no longer listens. A person who watches it keeps a hand at the
// machine's own stop; the spindle's power is isolated, since an arm is on it.
package motion
