package capture

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"os"
	"strconv"
	"sync"
	"time"

	"tramd/device/frame"
)

// magic is the first line of each part of a capture.
const magic = "# tramd capture 1"

// Kinds of record.
const (
	Clean   = "clean"
	Partial = "partial"
	Data    = "data"
	Asked   = "asked"
	Lost    = "lost"
)

// Recorder writes a capture. A busy disk must not hold up the reading of a port, so records wait in memory for a
// goroutine that writes them at once; a kill loses what waits, which is a moment's worth. It belongs to one goroutine.
type Recorder struct {
	file  *os.File
	start frame.Stamp
	wake  chan struct{} // closed by Close
	done  chan struct{} // closed when the writer has ended

	mu      sync.Mutex
	pending []byte
	err     error // the first failure; everything after it is refused
}

// Source says what was recorded, for a person who opens the file.
type Source struct {
	Device, Port, Frame string
	CountsPerTurn       int64 // 0: not of an encoder that counts
	Baud                int
}

// maxPending bounds what waits for the disk: half a minute of a full line of 921,600 baud.
const maxPending = 8 << 20

// Open begins a capture in a new file, or continues one. It refuses to touch a file that is not a capture. A
// last line that a power cut left unfinished is removed, since nothing after it could be read.
func Open(path string, of Source, start frame.Stamp) (*Recorder, error) {
	f, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE, 0o644)
	if err != nil {
		return nil, fmt.Errorf("open capture: %w", err)
	}
	if err := seekEnd(f); err != nil {
		f.Close()
		return nil, fmt.Errorf("continue capture %s: %w", path, err)
	}
	_,
		err = fmt.Fprintf(
		f,
		"%s\n# device %q, port %q, frame %s, counts per turn %d, baud %d\n# begun %s\n# columns: nanoseconds, what, bytes\n",
		magic, of.Device, of.Port, of.Frame, of.CountsPerTurn, of.Baud, time.Now().UTC().Format(time.RFC3339))
	if err != nil {
		f.Close()
		return nil, fmt.Errorf("begin capture: %w", err)
	}
	return New(f, start), nil
}

// New makes a Recorder that writes to f, which it closes at its end.
func New(f *os.File, start frame.Stamp) *Recorder {
	r := &Recorder{file: f, start: start, wake: make(chan struct{}, 1), done: make(chan struct{})}
	go r.write()
	return r
}

func seekEnd(f *os.File) error {
	size, err := f.Seek(0, io.SeekEnd)
	if err != nil || size == 0 {
		return err
	}
	head := make([]byte, len(magic)+1)
	if _, err := f.ReadAt(head, 0); err != nil && !errors.Is(err, io.EOF) {
		return err
	}
	if string(head) != magic+"\n" {
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
func (r *Recorder) Opened(at frame.Stamp, clean bool) error {
	if clean {
		return r.record(at, Clean, "")
	}
	return r.record(at, Partial, "")
}

// Data records one read.
func (r *Recorder) Data(at frame.Stamp, p []byte) error { return r.record(at, Data, string(p)) }

// Asked records a question to the instrument.
func (r *Recorder) Asked(at frame.Stamp, request string) error { return r.record(at, Asked, request) }

// Lost records the end of the stream.
func (r *Recorder) Lost(at frame.Stamp, why string) error { return r.record(at, Lost, why) }

func (r *Recorder) record(at frame.Stamp, what, text string) error {
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
