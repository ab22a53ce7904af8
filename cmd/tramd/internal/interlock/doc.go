// Package interlock is the one place that answers "may the arm be moved now?".
//
// # Two acts
//
// Motion takes an arming and a start. A person arms one motion, gets a key for it, and starts it with that key within a
// minute; or arms the planned checks, for some hours. Armings live in memory alone, so none outlives a restart, and
// they end by a clock that runs on while the computer sleeps.
//
// # While it moves
//
// A [Permit] goes with each motion, and its Bar is asked at every tick of the runner. It bars the motion when
//   - the machine's input line no longer says that the machine does nothing;
//   - the person who started it lets go, or gives no sign for [HoldFor]: the starter holds it, by the key, for as
//     long as it lasts;
//   - the arming that it rests on was taken back, or, for a planned check, has run out.
//
// What the indicators read and the controller answers bars it too; that is judged in package motion, which sees each
// reading.
//
// # Before a planned check
//
// A controller that can be asked whether the machine does nothing is asked ([Question]), and must have said so just
// before.
//
// An Interlock may be used from any number of goroutines. None of its methods waits, but [Interlock.BeginPlanned] for
// the controller's line.
package interlock
