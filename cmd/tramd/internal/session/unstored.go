package session

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"tramd/cmd/tramd/internal/api"
	"tramd/sweep"
)

// A run whose archive takes nothing is measured, fitted and shown all the same, and set aside until it can be stored.
// It has a number of its own from the start, which is the one it will most likely be stored under.

// Unwritable is the error of an archive that takes no new run now, though a later try may succeed: its disk is full, or
// was made read-only by the system.
type Unwritable struct {
	Why       error
	Next      int64 // the number that a new run would have; 0: not known
	Beginning any   // of the run, for BeginAgain
}

func (u *Unwritable) Error() string { return u.Why.Error() }
func (u *Unwritable) Unwrap() error { return u.Why }

// resumer is an archive that can store the beginning of a run later than it was.
type resumer interface {
	BeginAgain(ctx context.Context, beginning any) (int64, error)
}

const (
	// asideAfter is how long storing must have failed before a run that is ready for its end is set aside. A card that
	// is slow for a moment is no trouble.
	asideAfter = 2 * time.Second

	// unstoredMost bounds what is held in memory: no run is begun beyond so many readings that are not stored.
	unstoredMost = 2_000_000
)

// aside is a run that is set aside.
type aside struct {
	j   *job
	end Ending
}

func (x aside) state() api.UnstoredRun {
	out := api.UnstoredRun{Run: x.j.run, Kind: x.j.kind, Purpose: x.j.purpose, Started: x.j.started, At: x.end.At,
		Outcome: x.end.Outcome,
		Why:     x.end.Why, Readings: x.j.points.n, Stored: int(x.j.durable.Load())}
	if x.j.measured == nil {
		out.Result = x.end.Result
	}
	return out
}

// beginUnstored gives a run that the archive cannot begin now a number, and has its beginning stored before anything
// else of it.
func (s *Session) beginUnstored(u *Unwritable) (int64, error) {
	if n := s.archive.held(); n > unstoredMost {
		return 0,
			api.Full.Errorf(
				"%v. Besides, %d readings wait in memory to be stored, and no more are taken before some are", u.Why, n)
	}
	s.nextRun = max(s.nextRun+1, u.Next)
	s.archive.add(writing{run: s.nextRun, begins: u.Beginning})
	s.o.Log.Warn("the run is not stored; it is measured and shown, and stored when that can be done", "run", s.nextRun,
		"error", u.Why)
	return s.nextRun, nil
}

// setAside ends a run whose end waits to be stored and cannot be: the person sees its result, and may begin the next.
func (s *Session) setAside() {
	j := s.job
	if j == nil || j.ended == nil || !s.archive.failsFor(asideAfter) {
		return
	}
	s.aside = append(s.aside, aside{j, *j.ended})
	if j.measured == nil && j.ended.Result != nil && j.ended.Outcome == api.Finished {
		s.zeroPair(j.run, j.kind, j.ended.Result, s.leftAt(j))
	}
	s.job = nil
	s.o.Log.Error("the run has ended and is not stored; it is held in memory, and storing is tried each second", "run",
		j.run, "readings", j.points.n)
}

// stored takes a run off those that are set aside.
func (s *Session) stored(j *job) {
	s.aside = slices.DeleteFunc(s.aside, func(x aside) bool { return x.j == j })
}

// renumber is called when a run is stored under another number than it was given: something was brought into the record
// first.
func (s *Session) renumber(from, to int64) {
	s.o.Log.Warn("the run is stored under another number than it was shown with", "shown", from, "stored", to)
	if s.job != nil && s.job.run == from {
		s.job.run = to
	}
	for _, x := range s.aside {
		if x.j.run == from {
			x.j.run = to
		}
	}
}

func (s *Session) unstoredRuns() []api.UnstoredRun {
	var out []api.UnstoredRun
	for _, x := range s.aside {
		out = append(out, x.state())
	}
	return out
}

// ErrNotAside says that a run is not among those that are held in memory alone.
var ErrNotAside = errors.New("not held in memory")

// Held is a run that is held in memory alone, with all that would stand in the record.
type Held struct {
	api.UnstoredRun
	Setup   sweep.Setup
	Subject string
	Found   *Found // of a measurement that is no sweep; nil: there is none
	Points  []sweep.Point
	Spots   *Spots // of Points; nil of a sweep
}

// Unstored returns a run that is held in memory alone (ErrNotAside).
func (s *Session) Unstored(ctx context.Context, run int64) (Held, error) {
	var out Held
	var pieces [][]sweep.Point
	var whose *job // it has ended, and changes no more
	err := ErrNotAside
	if e := s.ask(ctx, func() {
		for _, x := range s.aside {
			if j := x.j; j.run == run {
				out, err = Held{UnstoredRun: x.state(), Setup: j.setup, Found: x.end.Found}, nil
				whose = j
				pieces = j.points.since(0)
				if j.measured != nil {
					out.Subject = j.measured.Subject
				}
			}
		}
	}); e != nil {
		return out, e
	}
	out.Points = join(nil, pieces)
	if whose != nil {
		out.Points, out.Spots = whose.spots(0, out.Points)
	}
	return out, err
}

// Backlog is what a session that has ended leaves to the next: runs and other things that are not stored yet.
type Backlog struct {
	queue   []writing
	aside   []aside
	nextRun int64
	actual  map[int64]int64
}

// Runs are the numbers of its runs. The record may hold their beginnings.
func (b *Backlog) Runs() []int64 {
	if b == nil {
		return nil
	}
	var out []int64
	for _, x := range b.aside {
		out = append(out, x.j.run)
	}
	return out
}

// Backlog returns what could not be stored; nil where all is. Call it when Run has returned.
func (s *Session) Backlog() *Backlog {
	s.mu.Lock()
	defer s.mu.Unlock()
	queue, actual := s.archive.left()
	if len(queue) == 0 {
		return nil
	}
	if j := s.job; j != nil && j.ended != nil {
		s.aside, s.job = append(s.aside, aside{j, *j.ended}), nil
	}
	return &Backlog{queue: queue, aside: s.aside, nextRun: s.nextRun, actual: actual}
}

// Lose logs what is lost because no store takes the backlog.
func (b *Backlog) Lose(log interface{ Error(string, ...any) }) {
	if b == nil {
		return
	}
	for _, x := range b.aside {
		log.Error(fmt.Sprintf("run %d was never stored and is lost: the daemon stopped while storing failed", x.j.run),
			"kind", x.j.kind, "readings", x.j.points.n, "stored", x.j.durable.Load())
	}
}

// take goes on with what an earlier session could not store.
func (s *Session) take(b *Backlog) {
	if b == nil {
		return
	}
	s.aside, s.nextRun = b.aside, b.nextRun
	for _, w := range b.queue {
		if w.end != nil {
			for _, x := range b.aside {
				if x.j.run == w.run {
					w.done = s.whenStored(x.j, x.end)
				}
			}
		}
		s.archive.queue = append(s.archive.queue, w)
	}
	s.archive.actual = b.actual
}
