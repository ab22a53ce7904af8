// Package device turns the bytes of a port into stamped samples, and keeps the port alive.
//
// # From port to sample
//
// A [Device] owns one port: a serial line by its stable path, a TCP stream, or a recorded capture. [Device.Run] opens
// it, has it read, hands every decoded [Sample] to its sink in batches, and opens it again after every loss until its
// context ends. [Device.Status] may be called from any goroutine.
//
// All ports of the process are read by one poller, on one goroutine, where the sinks are called too. While lines come
// slowly each is read as it comes. Fast ones are read together, when a line of the encoder comes or, where there is
// no hurry ([Device.SetLatency]), many times less often: a wake-up costs a hundred times more than the decoding.
// [ReadNow] has them read before somebody looks. A port that is asked (see [Asking]), or whose frames are proved by
// silence, keeps a time of its own and is read apart.
//
// # Frames
//
// Package frame cuts the bytes into frames and reads them.
//
// A port is joined in the middle of its talk, so the first line after an open may be the second half of one: "12.345"
// cut to "2.345" is a well-formed wrong number. That line is dropped, on serial ports and on TCP alike, since a bridge
// from serial to TCP joins its instrument in mid-line too and the bytes cannot show it. It is kept only when the port
// was silent for half a second after the open, so that an indicator which sends at the push of a button loses
// nothing. A replayed capture says for each of its opens which of the two it was. Frames of bytes find their beginning
// for themselves.
//
// # Stamps
//
// A sample is stamped with the monotonic clock when the last byte of its line arrived. A line that was waited for came
// when the wait ended. Of one that was found lying there it is known that it came since the port was last looked at;
// where the instrument keeps a pace of its own, its next line is known to a fraction of that time (see frame.Decoder),
// else it is set in the middle. When one read brought several lines they share out the time (see frame.Decoder). Stamps
// of one device never run backwards and are never in the future.
package device
