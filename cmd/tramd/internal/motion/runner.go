package motion

import (
	"bufio"
	"context"
	"errors"
	"io"
	"sync"
	"time"
)

// Line is the way to the controller.
type Line interface {
	io.ReadWriteCloser
	SetWriteDeadline(time.Time) error
}

// Hooks are what a runner tells its owner, on the runner's goroutine.
type Hooks struct {
	Arrived func(station int) // readings count from now
	Said    func(text string) // what it does
	Ended   func(why string)  // once; empty: as it should be

	// Unsafe says why the machine may not be moved now, such as that somebody started it; "" while it may. It is asked at
	// each tick and must not wait; nil: nobody is asked.
	Unsafe func() (why string)
}

// Runner runs one program on a line. Its methods may be called from any goroutine, and never wait for the line.
type Runner struct {
	p      Program
	h      Hooks
	events chan func(*Machine, time.Duration) []Act
	done   chan struct{}

	mu       sync.Mutex
	readings []latest
}

type latest struct {
	n       uint64
	mm      float64
	outside float64 // a reading outside the travel that was not looked at yet
	has     bool
}

// NewRunner makes a runner; nothing moves before Run.
func NewRunner(p Program, h Hooks) (*Runner, error) {
	if err := p.Check(); err != nil {
		return nil, err
	}
	return &Runner{p: p, h: h, events: make(chan func(*Machine, time.Duration) []Act, 64), done: make(chan struct{}), readings: make([]latest, len(p.Indicators))}, nil
}

// Reading tells what an indicator reads.
func (r *Runner) Reading(indicator int, mm float64) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if indicator < 0 || indicator >= len(r.readings) {
		return
	}
	l := &r.readings[indicator]
	l.n, l.mm = l.n+1, mm
	if t := r.p.Indicators[indicator]; !l.has && !t.Unlimited && !(mm >= t.LowMM && mm <= t.HighMM) {
		l.outside, l.has = mm, true
	}
}

// Taken tells that the present station's reading was taken.
func (r *Runner) Taken() { r.tell(func(m *Machine, now time.Duration) []Act { return m.Taken(now) }) }

// Stop has the arm stopped.
func (r *Runner) Stop(why string) {
	r.tell(func(m *Machine, now time.Duration) []Act { return m.Stop(now, why) })
}

func (r *Runner) tell(f func(*Machine, time.Duration) []Act) {
	select {
	case r.events <- f:
	case <-r.done:
	}
}

// Done is closed once the program has ended and the line is closed.
func (r *Runner) Done() <-chan struct{} { return r.done }

// Times of the loop.
const (
	tickEvery     = 20 * time.Millisecond
	writePatience = 500 * time.Millisecond
	longestLine   = 512
)

// Run runs the program. When ctx ends the arm is stopped. It closes the line.
func (r *Runner) Run(ctx context.Context, line Line) {
	defer close(r.done)
	heard, broken := make(chan string, 64), make(chan error, 1)
	quit := make(chan struct{})
	var reader sync.WaitGroup
	reader.Go(func() { broken <- listen(line, heard, quit) })
	defer func() {
		close(quit)
		line.Close()
		reader.Wait()
	}()
	start := time.Now()
	m := NewMachine(r.p)
	w := &worker{r: r, m: m, line: line, since: func() time.Duration { return time.Since(start) }}
	tick := time.NewTicker(tickEvery)
	defer tick.Stop()
	if why := w.unsafe(); why != "" {
		w.do(m.Unsafe(0, why)) // nothing was sent yet
	}
	w.do(m.Start(w.since()))
	seen := make([]uint64, len(r.readings))
	stop := ctx.Done()
	for !m.Over() {
		select {
		case text := <-heard:
			w.do(m.Line(w.since(), text))
		case f := <-r.events:
			w.do(f(m, w.since()))
		case err := <-broken:
			w.do(m.Lost(w.since(), err))
		case <-tick.C:
			if why := w.unsafe(); why != "" {
				w.do(w.m.Unsafe(w.since(), why))
			}
			w.look(seen)
			w.do(m.Tick(w.since()))
		case <-stop:
			stop = nil
			w.do(m.Stop(w.since(), "the program was called off"))
		}
	}
}

// worker does what the machine says.
type worker struct {
	r     *Runner
	m     *Machine
	line  Line
	since func() time.Duration
	said  string
}

func (w *worker) unsafe() string {
	if w.r.h.Unsafe == nil {
		return ""
	}
	return w.r.h.Unsafe()
}

// look brings in what the indicators read since the last look.
func (w *worker) look(seen []uint64) {
	w.r.mu.Lock()
	now := append([]latest(nil), w.r.readings...)
	for i := range w.r.readings {
		w.r.readings[i].has = false
	}
	w.r.mu.Unlock()
	for i, l := range now {
		if l.n == seen[i] {
			continue
		}
		seen[i] = l.n
		if l.has { // between two looks it may have come back
			w.do(w.m.Reading(w.since(), i, l.outside))
		}
		w.do(w.m.Reading(w.since(), i, l.mm))
	}
}

func (w *worker) do(acts []Act) {
	for _, a := range acts {
		switch {
		case a.Send != "":
			// The deadline cannot be set on every kind of line; then a write that hangs is found by the acknowledgement.
			_ = w.line.SetWriteDeadline(time.Now().Add(writePatience))
			if _, err := io.WriteString(w.line, a.Send); err != nil {
				w.do(w.m.Lost(w.since(), err))
			}
		case a.Arrive:
			w.r.h.Arrived(a.Station)
		case a.End:
			w.r.h.Ended(a.Why)
		}
	}
	if s := w.m.Say(); s != w.said {
		w.said = s
		w.r.h.Said(s)
	}
}

// listen reads lines until the port ends.
func listen(line io.Reader, heard chan<- string, quit <-chan struct{}) error {
	s := bufio.NewScanner(line)
	s.Buffer(make([]byte, 0, longestLine), longestLine)
	s.Split(anyEnd)
	for s.Scan() {
		select {
		case heard <- s.Text():
		case <-quit:
			return nil
		}
	}
	if err := s.Err(); err != nil {
		return err
	}
	return errors.New("the far end went away")
}

// anyEnd splits at CR and at LF; a line that is too long is cut, since a controller that babbles must still be heard.
func anyEnd(data []byte, atEOF bool) (advance int, token []byte, err error) {
	for i, c := range data {
		if c == '\n' || c == '\r' {
			return i + 1, data[:i], nil
		}
	}
	if len(data) >= longestLine-1 || atEOF && len(data) > 0 {
		return len(data), data, nil
	}
	return 0, nil, nil
}
