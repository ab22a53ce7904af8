// Package frame turns the bytes of a port into samples. It is pure: it opens nothing and reads no clock.
//
// A [Layout] describes what comes through a port and makes its [Framer], which cuts the stream of bytes into frames; a
// [Decoder] gives each sample its stamp. A text line (see [TextFramer]) is one indicator reading; larger means the
// plunger is pushed further in. An encoder line (see [EncoderFramer]) is a count or an angle. Other frames are
// described by the configuration: see [Pattern], [Digits], [Binary] and [Register]. What does not read as exactly that
// is counted as a fault by its reason and never guessed at. frames.md beside this file describes them for people.
package frame
