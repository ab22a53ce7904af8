// Package store keeps what was measured and what was concluded from it in one SQLite file: runs with their setup,
// readings with their spindle angles, results, and what happened to the machine in between.
//
// # Promises
//
// What a method reported as stored survives a kill or a power cut at any instant: the one writing connection commits
// with synchronous=FULL to a write-ahead log. Readings are appended in chunks, one commit each, so a run that never
// ended keeps everything up to its last chunk; RecoverUnfinished finds and marks it. A result is never overwritten: a
// later fit is added beside it, and the newest is shown.
//
// # Units
//
// Times of day are integer microseconds since 1970 in UTC. Readings are whole nanometres, spindle angles whole 1e-4
// degrees, times of readings whole microseconds (see chunk.go).
//
// # Order and dates
//
// Runs and events are ordered by their number, never by the time of day: the clock of a small computer may be wrong by
// months until the network sets it. Each carries the boot it belongs to, its time since that boot, and whether the
// clock had been set (Run.ClockSet). When the clock is set later in the same boot, DateBoot dates the earlier ones
// right. A time is to be believed only where ClockSet says so: what reckons over days takes its runs from History, and
// a run of a boot whose clock was never set keeps its place by number and takes no part. A run's length is measured on
// the clock that is never set, so that one across a step of the wall clock is as long as it was.
//
// # Concurrency
//
// A Store may be used from many goroutines. Writers queue for one connection; readers use connections of their own and
// neither wait for the writer nor hold it up. Once begun a write is carried through; a context only keeps it from
// starting. One process at a time opens a file for writing; any number may open it with OpenReadOnly meanwhile.
package store
