package device

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"os"
	"strconv"
	"sync"
	"time"
)

// A capture holds every byte that came through a port, with the time of the read that brought it. It is text: lines
// that begin with # are for people, every other line is one record,
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
// The first line is captureMagic. A recording may be continued in the same file; another magic line begins each part,
// and times begin at zero again.
const captureMagic = "# tramd capture 1"

// Kinds of record.
const (
	RecordClean   = "clean"
	RecordPartial = "partial"
	RecordData    = "data"
	RecordAsked   = "asked"
	RecordLost    = "lost"
)

// Recorder writes a capture. A busy disk must not hold up the reading of a port, so records wait in memory for a
// goroutine that writes them at once; a kill loses what waits, which is a moment's worth. It belongs to one goroutine.
type Recorder struct {
	file  *os.File
	start Stamp
	wake  chan struct{} // closed by Close
	done  chan struct{} // closed when the writer has ended

	mu      sync.Mutex
	pending []byte
	err     error // the first failure; everything after it is refused
}

// maxPending bounds what waits for the disk: half a minute of a full line of 921,600 baud.
const maxPending = 8 << 20

// OpenRecorder begins a capture in a new file, or continues one. It refuses to touch a file that is not a capture. A
// last line that a power cut left unfinished is removed, since nothing after it could be read.
func OpenRecorder(path string, spec Spec) (*Recorder, error) {
	f, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE, 0o644)
	if err != nil {
		return nil, fmt.Errorf("open capture: %w", err)
	}
	if err := seekCaptureEnd(f); err != nil {
		f.Close()
		return nil, fmt.Errorf("continue capture %s: %w", path, err)
	}
	_, err = fmt.Fprintf(f, "%s\n# device %q, port %q, frame %s, counts per turn %d, baud %d\n# begun %s\n# columns: nanoseconds, what, bytes\n",
		captureMagic, spec.Name, spec.Port, spec.Frame, spec.CountsPerTurn, spec.Baud, time.Now().UTC().Format(time.RFC3339))
	if err != nil {
		f.Close()
		return nil, fmt.Errorf("begin capture: %w", err)
	}
	r := &Recorder{file: f, start: Now(), wake: make(chan struct{}, 1), done: make(chan struct{})}
	go r.write()
	return r, nil
}

func seekCaptureEnd(f *os.File) error {
	size, err := f.Seek(0, io.SeekEnd)
	if err != nil || size == 0 {
		return err
	}
	head := make([]byte, len(captureMagic)+1)
	if _, err := f.ReadAt(head, 0); err != nil && !errors.Is(err, io.EOF) {
		return err
	}
	if string(head) != captureMagic+"\n" {
		return errors.New("the file is there and is not a capture: name another file")
	}
	tail := make([]byte, min(size, maxRecord))
	if _, err := f.ReadAt(tail, size-int64(len(tail))); err != nil {
		return err
	}
	end := bytes.LastIndexByte(tail, '\n')
	if end < 0 {
		return errors.New("its last line is too long for a capture: name another file")
	}
	size += int64(end + 1 - len(tail))
	if err := f.Truncate(size); err != nil {
		return err
	}
	_, err = f.Seek(size, io.SeekStart)
	return err
}

// Opened records that the port was opened, and whether the next byte begins a line.
func (r *Recorder) Opened(at Stamp, clean bool) error {
	if clean {
		return r.record(at, RecordClean, "")
	}
	return r.record(at, RecordPartial, "")
}

// Data records one read.
func (r *Recorder) Data(at Stamp, p []byte) error { return r.record(at, RecordData, string(p)) }

// Asked records a question to the instrument.
func (r *Recorder) Asked(at Stamp, request string) error { return r.record(at, RecordAsked, request) }

// Lost records the end of the stream.
func (r *Recorder) Lost(at Stamp, why string) error { return r.record(at, RecordLost, why) }

func (r *Recorder) record(at Stamp, what, text string) error {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.err == nil && len(r.pending) > maxPending {
		r.err = errors.New("the disk is too slow to record this port: record to another disk")
	}
	if r.err != nil {
		return r.err
	}
	b := strconv.AppendInt(r.pending, int64(max(0, at-r.start)), 10)
	b = append(b, ' ')
	b = append(b, what...)
	b = append(b, ' ')
	b = strconv.AppendQuoteToASCII(b, text)
	r.pending = append(b, '\n')
	select {
	case r.wake <- struct{}{}:
	default: // the writer has been woken and will find this record too
	}
	return nil
}

// write brings what waits to the file, until Close.
func (r *Recorder) write() {
	defer close(r.done)
	var spare []byte
	for open := true; open; {
		_, open = <-r.wake
		r.mu.Lock()
		out := r.pending
		r.pending = spare[:0]
		failed := r.err != nil
		r.mu.Unlock()
		if len(out) > 0 && !failed {
			if _, err := r.file.Write(out); err != nil {
				r.mu.Lock()
				r.err = err
				r.mu.Unlock()
			}
		}
		spare = out
	}
}

// Close ends the recording, brings it to the disk and reports the first failure. Closing twice is harmless.
func (r *Recorder) Close() error {
	if r.file == nil {
		return nil
	}
	close(r.wake)
	<-r.done
	err := errors.Join(r.err, r.file.Sync(), r.file.Close())
	r.file = nil
	return err
}
