package interlock

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"regexp"
	"sync"
	"time"
)

// Question asks a motion controller whether the machine does nothing, before anything is moved.
type Question struct {
	Open   func(context.Context) (io.ReadWriteCloser, error)
	Ask    string               // with its line end
	Answer *regexp.Regexp       // of a whole line: the machine is idle
	Quiet  time.Duration        // after the port was opened: some controllers start again then
	Within time.Duration        // for the answer
	Clock  func() time.Duration // runs on while the computer sleeps

	mu     sync.Mutex
	asking chan struct{} // closed when the answer is in; nil: no question is out
	was    bool          // there was an answer
	at     time.Duration // of the last one
	why    string        // it was not that the machine is idle; empty: it was
}

// An answer is good for a while, and is asked for again before that ends.
const (
	idleAgain = 20 * time.Second
	idleGood  = 45 * time.Second
)

// state says why the machine is not known to be idle, "" when it is, and asks again where the last answer grows old. It
// never waits.
func (q *Question) state(ctx context.Context, now time.Duration) string {
	q.mu.Lock()
	defer q.mu.Unlock()
	age := now - q.at
	if q.asking == nil && (!q.was || age > idleAgain) {
		q.asking = make(chan struct{})
		go q.question(ctx, q.asking)
	}
	switch {
	case !q.was || age > idleGood:
		return "it has not answered yet"
	case q.why != "":
		return q.why
	}
	return ""
}

// settle waits until no question holds the controller's line.
func (q *Question) settle() {
	q.mu.Lock()
	asking := q.asking
	q.mu.Unlock()
	if asking != nil {
		<-asking
	}
}

func (q *Question) question(ctx context.Context, done chan struct{}) {
	why := ""
	if err := q.once(ctx); err != nil {
		why = err.Error()
	}
	q.mu.Lock()
	q.was, q.at, q.why, q.asking = true, q.Clock(), why, nil
	q.mu.Unlock()
	close(done)
}

// once asks; nil says that the machine is idle.
func (q *Question) once(ctx context.Context) error {
	line, err := q.Open(ctx)
	if err != nil {
		return err
	}
	closing := sync.OnceValue(line.Close)
	defer closing()
	limit, cancel := context.WithTimeout(ctx, q.Quiet+q.Within)
	defer cancel()
	defer context.AfterFunc(limit, func() { _ = closing() })() // ends a read that nothing comes of
	select {
	case <-limit.Done():
		return limit.Err()
	case <-time.After(q.Quiet):
	}
	if _, err := io.WriteString(line, q.Ask); err != nil {
		return fmt.Errorf("it cannot be asked: %w", err)
	}
	heard := ""
	lines := bufio.NewScanner(io.LimitReader(line, 1<<16)) // what talks without end is no answer
	lines.Split(anyLine)
	for lines.Scan() {
		if text := lines.Text(); text != "" {
			if q.Answer.MatchString(text) {
				return nil
			}
			heard = text
		}
	}
	switch {
	case heard != "":
		return fmt.Errorf("it answered %q", shortened(heard))
	case limit.Err() == nil && lines.Err() != nil:
		return fmt.Errorf("its line broke: %w", lines.Err())
	}
	return errors.New("it does not answer")
}

func shortened(text string) string {
	if len(text) > 60 {
		return text[:60] + "..."
	}
	return text
}

// anyLine splits at CR, LF or both.
func anyLine(data []byte, atEOF bool) (int, []byte, error) {
	for i, b := range data {
		if b == '\r' || b == '\n' {
			return i + 1, data[:i], nil
		}
	}
	if atEOF && len(data) > 0 {
		return len(data), data, nil
	}
	return 0, nil, nil
}
