package session

import (
	"context"
	"errors"
	"log/slog"
	"sync"
	"time"

	"tramd/cmd/tramd/internal/api"
	"tramd/sweep"
)

// Archive is what the session needs of a store. Points are durable when AppendPoints returns. Spots say where each was
// taken; nil where its angle says it all.
type Archive interface {
	BeginRun(ctx context.Context, b Beginning) (int64, error)
	AppendPoints(ctx context.Context, run int64, pts []sweep.Point, spots *Spots) error
	AddDoubt(ctx context.Context, run int64, d sweep.Doubt) error
	FinishRun(ctx context.Context, run int64, end Ending) error
}

// Beginning is what is stored of a run when it begins.
type Beginning struct {
	Kind, Purpose string
	Setup         sweep.Setup
	Subject       string // what is measured, by its configured name; empty: there is only one
	Own           []byte // what its kind needs beside the setup, JSON; nil: nothing
}

// Ending is how a run ended.
type Ending struct {
	Outcome api.Outcome
	At      time.Time
	Why     string
	Result  *sweep.Result // of a sweep
	Found   *Found        // of another measurement
}

// writeQueue writes to the archive, in order, on a goroutine of its own. While the archive fails (a full card, a locked
// file) it keeps what it was given and tries again, so that storage resumes by itself.
type writeQueue struct {
	archive Archive
	log     *slog.Logger
	beats   pulse

	timeout time.Duration // how long the last writes may take

	keepZero func(context.Context, KeptZero) error // may be nil
	// called when a run gets another number than it was given; may be nil
	renumber func(from, to int64)

	mu     sync.Mutex
	queue  []writing
	err    error
	since  time.Time       // when it began to fail; zero: it does not
	actual map[int64]int64 // by the number that a run was given: the one it is stored under, where that is another
	wake   chan struct{}
}

// writing is the beginning of a run, a chunk, a doubt about what was written, the end of a run, or a zero of the
// encoder.
type writing struct {
	run    int64
	begins any // of a run that could not be begun when it was; nil: it is something else
	points []sweep.Point
	spots  *Spots // of a measurement that is no sweep: where each was taken
	doubt  *sweep.Doubt
	end    *Ending
	zero   *KeptZero
	done   func() // called once it is durable
}

func newWriteQueue(a Archive, unstored error, log *slog.Logger) *writeQueue {
	w := &writeQueue{archive: a, err: unstored, log: log, timeout: lastWrites, actual: map[int64]int64{},
		wake: make(chan struct{}, 1)}
	if unstored != nil {
		w.since = time.Now()
	}
	return w
}

func (a *writeQueue) add(w writing) {
	a.mu.Lock()
	a.queue = append(a.queue, w)
	a.mu.Unlock()
	select {
	case a.wake <- struct{}{}:
	default:
	}
}

// state reports whether the archive takes what it is given.
func (a *writeQueue) state() (waiting int, err error) {
	a.mu.Lock()
	defer a.mu.Unlock()
	return len(a.queue), a.err
}

// failsFor reports whether storing has failed for so long.
func (a *writeQueue) failsFor(d time.Duration) bool {
	a.mu.Lock()
	defer a.mu.Unlock()
	return a.err != nil && time.Since(a.since) >= d
}

// held is how many readings wait.
func (a *writeQueue) held() (n int) {
	a.mu.Lock()
	defer a.mu.Unlock()
	for _, w := range a.queue {
		n += len(w.points)
	}
	return n
}

// left returns what was not written.
func (a *writeQueue) left() ([]writing, map[int64]int64) {
	a.mu.Lock()
	defer a.mu.Unlock()
	return a.queue, a.actual
}

// put writes one thing.
func (a *writeQueue) put(ctx context.Context, w writing) error {
	run := w.run
	if to, other := a.actual[run]; other {
		run = to
	}
	switch {
	case w.begins != nil:
		r, can := a.archive.(resumer)
		if !can {
			return errors.New("this archive takes no run later than it was begun")
		}
		id, err := r.BeginAgain(ctx, w.begins)
		if err == nil && id != w.run {
			a.mu.Lock()
			a.actual[w.run] = id
			a.mu.Unlock()
			if a.renumber != nil {
				a.renumber(w.run, id)
			}
		}
		return err
	case w.zero != nil:
		if a.keepZero == nil {
			return nil
		}
		return a.keepZero(context.WithoutCancel(ctx), *w.zero)
	case w.end != nil:
		return a.archive.FinishRun(ctx, run, *w.end)
	case w.doubt != nil:
		return a.archive.AddDoubt(ctx, run, *w.doubt)
	}
	return a.archive.AppendPoints(ctx, run, w.points, w.spots)
}

// lastWrites is how long the end of the daemon waits for what is still to be written.
const lastWrites = 5 * time.Second

// run writes until ctx ends, then tries what is left for a last few seconds. A write that hangs in the kernel heeds no
// context, so it is left behind when they are over.
func (a *writeQueue) run(ctx context.Context) {
	last, cancel := context.WithCancel(context.WithoutCancel(ctx))
	defer cancel()
	written := make(chan struct{})
	go func() {
		defer close(written)
		a.write(ctx, last)
	}()
	<-ctx.Done()
	select {
	case <-written:
	case <-time.After(a.timeout):
	}
	if n, err := a.state(); n > 0 {
		a.log.Error("could not store everything before stopping", "writes", n, "error", err)
	}
}

// write writes until ctx ends, and then what is left, as long as last lasts.
func (a *writeQueue) write(ctx, last context.Context) {
	retry := time.NewTicker(time.Second)
	defer retry.Stop()
	for {
		a.drain(last)
		a.beats.beat()
		select {
		case <-a.wake:
		case <-retry.C:
		case <-ctx.Done():
			a.drain(last)
			return
		}
	}
}

func (a *writeQueue) drain(ctx context.Context) {
	for {
		a.mu.Lock()
		if len(a.queue) == 0 {
			a.mu.Unlock()
			return
		}
		w := a.queue[0]
		a.mu.Unlock()

		err := a.put(ctx, w)
		a.beats.beat()
		a.mu.Lock()
		changed := (err == nil) != (a.err == nil)
		if a.err = err; err == nil {
			a.since = time.Time{}
		} else if changed {
			a.since = time.Now()
		}
		if err == nil {
			a.queue = a.queue[1:]
		}
		a.mu.Unlock()
		switch {
		case err != nil && changed:
			a.log.Error("storing failed; keeping the readings in memory and trying again each second", "run", w.run,
				"error", err)
		case err == nil && changed:
			a.log.Info("storing works again")
		}
		if err != nil {
			return
		}
		if w.done != nil {
			w.done()
		}
	}
}
