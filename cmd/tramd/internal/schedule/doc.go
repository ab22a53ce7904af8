// Package schedule says when something is to be done at times of the wall clock: "06:00", on some days of the week or
// every so many days. It is pure: the time comes in, slots come out.
//
// # Rules
//
// A slot is named by its local date and time, and is given out once, whatever the clock does meanwhile. Where summer
// time begins, a time that is skipped that day becomes the next minute there is. Where it ends, a time that comes twice
// counts the first time. A slot at which tramd did not run (power off, clock not set, clock put forward over it) is
// missed: it is reported, never made up for.
package schedule
