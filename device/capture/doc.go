// Package capture keeps what came through a port, and reads it again. A capture holds every byte that came through a
// port, with the time of the read that brought it. It is text: lines that begin with # are for people, every other line
// is one record,
//
//	NANOSECONDS WHAT "BYTES"
//
// where the time counts from the start of the capture and never runs backwards, BYTES is a Go string literal, and WHAT
// is one of
//
//	clean    the port was opened and was silent first: the next byte begins a line
//	partial  the port was opened in mid-talk: drop up to the next line end
//	data     one read
//	asked    BYTES were written to the instrument
//	lost     the stream ended; BYTES says why
//
// The first line is "# tramd capture 1". A recording may be continued in the same file; another such line begins each
// part, and times begin at zero again.
package capture
