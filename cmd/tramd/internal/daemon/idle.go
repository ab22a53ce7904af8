package daemon

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

// idleQuestion asks a motion controller whether the machine does nothing, before anything is moved.
type idleQuestion struct {
	open   func(context.Context) (io.ReadWriteCloser, error)
	ask    string         // with its line end
	answer *regexp.Regexp // of a whole line: the machine is idle
	quiet  time.Duration  // after the port was opened: some controllers begin anew then
	within time.Duration  // for the answer

	mu     sync.Mutex
	asking chan struct{} // closed when the answer is in; nil: nobody asks
	at     time.Time     // of the last answer
	why    string        // it was not that the machine is idle; empty: it was
}

// An answer is good for a while, and is asked for again before that ends.
const (
	idleAgain = 20 * time.Second
	idleGood  = 45 * time.Second
)

// state says why the machine is not known to be idle, "" when it is, and asks anew where the last answer grows old. It never
// waits.
func (q *idleQuestion) state(ctx context.Context, now time.Time) string {
	q.mu.Lock()
	defer q.mu.Unlock()
	age := now.Sub(q.at)
	if q.asking == nil && (age < 0 || age > idleAgain || q.at.IsZero()) {
		q.asking = make(chan struct{})
		go q.question(ctx, q.asking)
	}
	switch {
	case q.at.IsZero() || age < 0 || age > idleGood:
		return "it has not answered yet"
	case q.why != "":
		return q.why
	}
	return ""
}

// settle waits until nobody holds the controller's line to ask.
func (q *idleQuestion) settle() {
	q.mu.Lock()
	asking := q.asking
	q.mu.Unlock()
	if asking != nil {
		<-asking
	}
}

func (q *idleQuestion) question(ctx context.Context, done chan struct{}) {
	why := ""
	if err := q.once(ctx); err != nil {
		why = err.Error()
	}
	q.mu.Lock()
	q.at, q.why, q.asking = time.Now(), why, nil
	q.mu.Unlock()
	close(done)
}

// once asks; nil says that the machine is idle.
func (q *idleQuestion) once(ctx context.Context) error {
	line, err := q.open(ctx)
	if err != nil {
		return err
	}
	closing := sync.OnceValue(line.Close)
	defer closing()
	limit, cancel := context.WithTimeout(ctx, q.quiet+q.within)
	defer cancel()
	defer context.AfterFunc(limit, func() { _ = closing() })() // ends a read that nothing comes of
	select {
	case <-limit.Done():
		return limit.Err()
	case <-time.After(q.quiet):
	}
	if _, err := io.WriteString(line, q.ask); err != nil {
		return fmt.Errorf("it cannot be asked: %w", err)
	}
	heard := ""
	lines := bufio.NewScanner(io.LimitReader(line, 1<<16)) // what talks without end is no answer
	lines.Split(anyLine)
	for lines.Scan() {
		if text := lines.Text(); text != "" {
			if q.answer.MatchString(text) {
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
