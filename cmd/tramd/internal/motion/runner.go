package motion

import (
	"context"
	"io"
	"sync"
	"time"
)

// Line is the way to the controller.
type Line interface {
	io.ReadWriteCloser
	SetWriteDeadline(time.Time) error
}

// Hooks join a runner to its owner. All but Bar are called one after the other on a goroutine of their own, so that an
// owner who is slow to listen holds up no stop.
type Hooks struct {
	Arrived func(station int)              // readings count from now
	Said    func(stage Stage, text string) // what it does
	Ended   func(why string, asked bool)   // once, when the arm stands; why is empty where all went well

	// Bar says why the arm may not be moved now; "" while it may. asked: a person, or the end of what a person allowed,
	// wants it so. It is called at each tick on the runner's goroutine and must not wait. nil: nothing bars it.
	Bar func() (why string, asked bool)
}

// Runner runs one program on a line. Its methods may be called from any goroutine, and never wait.
type Runner struct {
	p     Program
	clock func() time.Duration
	h     Hooks
	done  chan struct{}
	wake  chan struct{}

	mu       sync.Mutex
	inbox    []func(*Machine, time.Duration) []Act
	readings []Readings
}

// NewRunner makes a runner; nothing moves before Run. clock must run on while the computer sleeps.
func NewRunner(p Program, clock func() time.Duration, h Hooks) (*Runner, error) {
	if err := p.Check(); err != nil {
		return nil, err
	}
	return &Runner{p: p, clock: clock, h: h, done: make(chan struct{}), wake: make(chan struct{}, 1),
		readings: make([]Readings, len(p.Indicators))}, nil
}

// Reading takes what an indicator reads.
func (r *Runner) Reading(indicator int, mm float64) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if indicator >= 0 && indicator < len(r.readings) {
		r.readings[indicator].add(mm)
	}
}

// Taken takes the news that the present station's reading was taken.
func (r *Runner) Taken() { r.post(func(m *Machine, now time.Duration) []Act { return m.Taken(now) }) }

// Stop has the arm stopped.
func (r *Runner) Stop(why string) {
	r.post(func(m *Machine, now time.Duration) []Act { return m.Stop(now, why) })
}

func (r *Runner) post(f func(*Machine, time.Duration) []Act) {
	r.mu.Lock()
	r.inbox = append(r.inbox, f)
	r.mu.Unlock()
	select {
	case r.wake <- struct{}{}:
	default:
	}
}

// Done is closed once the program has ended and the line is closed.
func (r *Runner) Done() <-chan struct{} { return r.done }

// Times of the loop.
const (
	tickEvery     = 20 * time.Millisecond
	writePatience = 250 * time.Millisecond
)

// Run runs the program. When ctx ends the arm is stopped. It closes the line, and returns once its owner was informed.
func (r *Runner) Run(ctx context.Context, line Line) {
	news := newReporter()
	r.run(ctx, line, news)
	close(r.done)
	news.close()
}

func (r *Runner) run(ctx context.Context, line Line, news *reporter) {
	heard, broken := make(chan string, 64), make(chan error, 1)
	quit := make(chan struct{})
	var reader sync.WaitGroup
	reader.Go(func() { broken <- listen(line, heard, quit) })
	defer func() {
		close(quit)
		line.Close()
		reader.Wait()
	}()
	start := r.clock()
	w := &worker{r: r, m: NewMachine(r.p), line: line, news: news, since: func() time.Duration {
		return r.clock() - start
	}}
	tick := time.NewTicker(tickEvery)
	defer tick.Stop()
	w.bar() // nothing was sent yet
	w.do(w.m.Start(w.since()))
	stop := ctx.Done()
	for !w.m.Over() {
		select {
		case <-tick.C: // first, however much else there is to hear
			w.tick()
			continue
		default:
		}
		select {
		case text := <-heard:
			w.watch() // what is known now counts before the next move
			w.do(w.m.Line(w.since(), text))
		case <-r.wake:
			w.watch()
			w.posted()
		case err := <-broken:
			for len(heard) > 0 { // what came before the end still counts
				w.do(w.m.Line(w.since(), <-heard))
			}
			w.do(w.m.Lost(w.since(), err))
		case <-tick.C:
			w.tick()
		case <-stop:
			stop = nil
			w.do(w.m.Stop(w.since(), "the program was called off"))
		}
	}
}

// worker does what the machine says.
type worker struct {
	r     *Runner
	m     *Machine
	line  Line
	news  *reporter
	since func() time.Duration
	said  string
	stage Stage
}

func (w *worker) tick() {
	w.watch()
	w.do(w.m.Tick(w.since()))
}

// watch looks at all that may speak against going on. A gap is seen here first: what it was, not what came of it, is
// the reason.
func (w *worker) watch() {
	w.look()
	w.bar()
}

func (w *worker) bar() {
	if w.r.h.Bar == nil || w.m.Over() {
		return
	}
	if why, asked := w.r.h.Bar(); why != "" {
		w.do(w.m.Barred(w.since(), why, asked))
	}
}

// look brings in what the indicators read since the last look.
func (w *worker) look() {
	w.r.mu.Lock()
	came := append([]Readings(nil), w.r.readings...)
	clear(w.r.readings)
	w.r.mu.Unlock()
	for i, readings := range came {
		w.do(w.m.Readings(w.since(), i, readings))
	}
}

// posted does what others asked for.
func (w *worker) posted() {
	w.r.mu.Lock()
	inbox := w.r.inbox
	w.r.inbox = nil
	w.r.mu.Unlock()
	for _, f := range inbox {
		w.do(f(w.m, w.since()))
	}
}

func (w *worker) do(acts []Act) {
	for _, a := range acts {
		switch {
		case a.Send != "":
			// The deadline cannot be set on every kind of line; then a write that hangs is found by the
			// acknowledgement.
			_ = w.line.SetWriteDeadline(time.Now().Add(writePatience))
			if _, err := io.WriteString(w.line, a.Send); err != nil {
				w.do(w.m.Unsent(w.since(), err))
			}
		case a.Arrive:
			w.news.report(func() { w.r.h.Arrived(a.Station) })
		case a.End:
			w.news.report(func() { w.r.h.Ended(a.Why, a.Asked) })
		}
	}
	if s, stage := w.m.Say(), w.m.Stage(); stage != Done && (s != w.said || stage != w.stage) {
		w.said, w.stage = s, stage
		w.news.report(func() { w.r.h.Said(stage, s) })
	}
}
