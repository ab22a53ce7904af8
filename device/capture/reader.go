package capture

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io"
	"os"
	"strconv"
	"time"
)

// Record is one record of a capture.
type Record struct {
	Line int           // where it stands in the file, from 1
	At   time.Duration // since the start of the capture
	What string        // one of the kinds
	Data string        // the bytes of a read or a question, or why the stream was lost
}

// Error says where a capture stops making sense. Everything before that line was read.
type Error struct {
	Line int
	Err  error
}

func (e *Error) Error() string { return fmt.Sprintf("capture line %d: %v", e.Line, e.Err) }
func (e *Error) Unwrap() error { return e.Err }

// ErrTruncated marks a capture that ends within a line: its recording was cut off.
var ErrTruncated = errors.New("the line is not finished: the recording was cut off here; everything before it is good")

// MaxRead is the most bytes of one read.
const MaxRead = 16 << 10

// maxRecord bounds a line: each byte of a read takes up to four characters.
const maxRecord = 4*MaxRead + 1024

// Reader reads the records of a capture one by one.
type Reader struct {
	in   *bufio.Reader
	line int
	base time.Duration // start of this part of the capture
	last time.Duration
	err  error
}

// NewReader reads from r.
func NewReader(r io.Reader) *Reader {
	return &Reader{in: bufio.NewReaderSize(r, maxRecord)}
}

// Next returns the next record, io.EOF at the end, or a Error; after an error it stays at that error.
func (c *Reader) Next() (Record, error) {
	for c.err == nil {
		line, err := c.in.ReadSlice('\n')
		c.line++
		switch {
		case errors.Is(err, bufio.ErrBufferFull):
			return c.fail(errors.New("longer than any record: the file is not a capture, or is damaged"))
		case errors.Is(err, io.EOF) && len(line) == 0 && c.line > 1:
			c.err = io.EOF
			return Record{}, c.err
		case errors.Is(err, io.EOF) && len(line) > 0:
			return c.fail(ErrTruncated)
		case err != nil && !errors.Is(err, io.EOF):
			return c.fail(err)
		}
		line = bytes.TrimRight(line, "\r\n")
		switch {
		case string(line) == magic:
			c.base = c.last
			continue
		case c.line == 1:
			return c.fail(fmt.Errorf("not a capture: the first line must be %q", magic))
		case len(line) == 0 || line[0] == '#':
			continue
		}
		rec, err := parseRecord(line)
		if err != nil {
			return c.fail(err)
		}
		if rec.At > maxCapture-c.base {
			return c.fail(errors.New("time is out of range: the line is damaged"))
		}
		rec.At += c.base
		if rec.At < c.last {
			return c.fail(errors.New("time runs backwards: the line is damaged, or lines were moved"))
		}
		c.last = rec.At
		rec.Line = c.line
		return rec, nil
	}
	return Record{}, c.err
}

// maxCapture is more than any recording lasts, and far from overflow.
const maxCapture = 100 * 365 * 24 * time.Hour

func (c *Reader) fail(err error) (Record, error) {
	c.err = &Error{Line: c.line, Err: err}
	return Record{}, c.err
}

func parseRecord(line []byte) (Record, error) {
	parts := bytes.SplitN(line, []byte{' '}, 3)
	if len(parts) != 3 {
		return Record{}, errors.New(`want NANOSECONDS WHAT "BYTES"`)
	}
	ns, err := strconv.ParseUint(string(parts[0]), 10, 63)
	if err != nil {
		return Record{}, fmt.Errorf("time %.40q is not a number of nanoseconds", parts[0])
	}
	what := string(parts[1])
	switch what {
	case Clean, Partial, Data, Asked, Lost:
	default:
		return Record{}, fmt.Errorf("record %.40q is not known: want %s, %s, %s, %s or %s",
			what, Clean, Partial, Data, Asked, Lost)
	}
	if !bytes.HasPrefix(parts[2], []byte{'"'}) {
		return Record{}, errors.New("the bytes are not in double quotes")
	}
	data, err := strconv.Unquote(string(parts[2]))
	if err != nil {
		return Record{}, errors.New("the bytes are not a closed string in double quotes")
	}
	return Record{At: time.Duration(ns), What: what, Data: data}, nil
}

// Length reads a capture through and returns the time of its last record, and what is wrong with it.
func Length(path string) (time.Duration, error) {
	f, err := os.Open(path)
	if err != nil {
		return 0, nil // said by who opens it to play it
	}
	defer f.Close()
	r := NewReader(f)
	var last time.Duration
	for {
		rec, err := r.Next()
		if errors.Is(err, io.EOF) {
			return last, nil
		}
		if err != nil {
			return last, err
		}
		last = rec.At
	}
}
