package session

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"testing"

	"tramd/cmd/tramd/internal/api"
	"tramd/device"
	"tramd/sweep"
)

// fullShelf is a shelf that takes no run while it is broken, and can be given its beginning later.
type fullShelf struct {
	shelf
	next   int64 // of a run, as far as is known
	begun  []any // beginnings that were stored later
	stored []int64
}

func (f *fullShelf) BeginRun(ctx context.Context, b Beginning) (int64, error) {
	if f.broken != nil {
		return 0, &Unwritable{Why: f.broken, Next: f.next, Beginning: b.Kind + " " + b.Purpose}
	}
	return f.shelf.BeginRun(ctx, b)
}

func (f *fullShelf) BeginAgain(_ context.Context, beginning any) (int64, error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.broken != nil {
		return 0, f.broken
	}
	f.runs++
	f.begun = append(f.begun, beginning)
	return f.runs, nil
}

func (f *fullShelf) FinishRun(ctx context.Context, run int64, e Ending) error {
	err := f.shelf.FinishRun(ctx, run, e)
	if err == nil {
		f.mu.Lock()
		f.stored = append(f.stored, run)
		f.mu.Unlock()
	}
	return err
}

var errFull = errors.New("no room left")

func newFullRig(t *testing.T, f *fullShelf, b *Backlog, ctx context.Context) (r *rig, ended chan struct{}) {
	t.Helper()
	live := func() device.Status { return device.Status{State: device.StateLive} }
	s, err := New(Options{
		Setup: sweep.Setup{Machine: "linnet",
			Indicators: []sweep.Indicator{{Name: "arm", RadiusMM: 120, ResolutionMM: 0.001}}},
		Indicators: []IndicatorRoute{{Device: 0}},
		Angle:      AngleRoute{Device: 1, Encoder: sweep.EncoderOptions{CountsPerTurn: 3600}},
		Ports:      []Port{{Name: "arm", Status: live}, {Name: "encoder", Status: live}},
		Archive:    f, Fit: sweep.FitPlain, Backlog: b,
	})
	if err != nil {
		t.Fatal(err)
	}
	ended = make(chan struct{})
	go func() { defer close(ended); _ = s.Run(ctx) }() // Run has no errors of its own
	return &rig{Session: s, shelf: &f.shelf, at: device.Now()}, ended
}

// A full disk keeps nobody from measuring: the run has a number, a result that is shown as not stored, and the next run
// may begin. Once there is room, all is stored in order.
func TestASweepOnAFullDiskIsMeasuredAndStoredLater(t *testing.T) {
	t.Parallel()
	f := &fullShelf{next: 8}
	f.runs = 7
	f.breakWith(errFull)
	ctx, stop := context.WithCancel(t.Context())
	r, ended := newFullRig(t, f, nil, ctx)
	defer func() { stop(); <-ended }()
	for i := range 2 {
		run, err := r.Start(t.Context(), 1, "check")
		if err != nil || run != int64(8+i) {
			t.Fatalf("run %d, %v", run, err)
		}
		from := 371 * i // the arm goes on turning as it did
		r.turn(from, from+370)
		snap := r.wait(t, "the end", func(s *api.Snapshot) bool { return idleNow(s) && len(s.Unstored) == i+1 })
		held := snap.HeldBack()
		if held == nil || held.Run != run || held.Result == nil || held.Stored != 0 || held.Readings < 360 ||
			snap.Store.OK {
			t.Fatalf("held back: %+v, store %+v, all %+v", held, snap.Store, snap.Unstored)
		}
		if snap.Last != nil || len(snap.Runs) != 0 {
			t.Errorf("shown as stored: %+v %v", snap.Last, snap.Runs)
		}
		x, err := r.Unstored(t.Context(), run)
		if err != nil || x.Run != run || x.Setup.Machine != "linnet" || len(x.Points) != held.Readings {
			t.Errorf("its readings: %+v, %d points, %v", x.UnstoredRun, len(x.Points), err)
		}
	}
	f.breakWith(nil)
	snap := r.wait(t, "the storing", func(s *api.Snapshot) bool { return len(s.Unstored) == 0 })
	if snap.Last == nil || snap.Last.Run != 9 || snap.Runs[api.RunKey{Kind: "sweep", Outcome: "finished"}] != 2 {
		t.Errorf("last %+v, runs %v", snap.Last, snap.Runs)
	}
	if !slices.Equal(f.stored, []int64{8, 9}) || fmt.Sprint(f.begun) != "[sweep check sweep check]" ||
		len(f.points) < 720 {
		t.Errorf("stored %v, begun %v, %d points", f.stored, f.begun, len(f.points))
	}
	if _, err := r.Unstored(t.Context(), 9); !errors.Is(err, ErrNotAside) {
		t.Errorf("still held: %v", err)
	}
}

// What was brought in meanwhile may have taken the number: the run is stored under the next, all of it.
func TestARunThatIsStoredLaterMayGetAnotherNumber(t *testing.T) {
	t.Parallel()
	f := &fullShelf{next: 3}
	f.runs = 5
	f.breakWith(errFull)
	ctx, stop := context.WithCancel(t.Context())
	r, ended := newFullRig(t, f, nil, ctx)
	defer func() { stop(); <-ended }()
	if _, err := r.Start(t.Context(), 1, "check"); err != nil {
		t.Fatal(err)
	}
	r.turn(0, 370)
	r.wait(t, "the end", func(s *api.Snapshot) bool { return len(s.Unstored) == 1 })
	f.breakWith(nil)
	snap := r.wait(t, "the storing", func(s *api.Snapshot) bool { return s.Last != nil })
	if snap.Last.Run != 6 || !slices.Equal(f.stored, []int64{6}) {
		t.Errorf("last %+v, stored %v", snap.Last, f.stored)
	}
}

// A disk that fills up in a sweep ends it as one that was full from the start, and a new start of the parts takes over
// what waits.
func TestWhatWaitsGoesOverToTheNextSession(t *testing.T) {
	t.Parallel()
	f := &fullShelf{next: 1}
	ctx, stop := context.WithCancel(t.Context())
	r, ended := newFullRig(t, f, nil, ctx)
	run, err := r.Start(t.Context(), 1, "check")
	if err != nil {
		t.Fatal(err)
	}
	f.breakWith(errFull)
	r.turn(0, 370)
	r.wait(t, "the end", func(s *api.Snapshot) bool { return len(s.Unstored) == 1 && idleNow(s) })
	stop()
	<-ended
	b := r.Backlog()
	if b == nil || !slices.Equal(b.Runs(), []int64{run}) {
		t.Fatalf("the backlog holds %v", b.Runs())
	}
	ctx, stop = context.WithCancel(t.Context())
	r, ended = newFullRig(t, f, b, ctx)
	snap := r.wait(t, "the run", func(s *api.Snapshot) bool { return len(s.Unstored) == 1 })
	if snap.HeldBack() == nil || snap.HeldBack().Run != run {
		t.Errorf("held back: %+v", snap.Unstored)
	}
	f.breakWith(nil)
	snap = r.wait(t, "the storing", func(s *api.Snapshot) bool { return s.Last != nil })
	if snap.Last.Run != run || len(snap.Unstored) != 0 || len(f.points) < 360 {
		t.Errorf("last %+v, unstored %v, %d points", snap.Last, snap.Unstored, len(f.points))
	}
	stop()
	<-ended
	if r.Backlog() != nil {
		t.Error("there is a backlog though all is stored")
	}
}

// Memory is not filled without end.
func TestTooManyUnstoredReadingsEndTheBeginning(t *testing.T) {
	t.Parallel()
	f := &fullShelf{next: 1}
	f.breakWith(errFull)
	ctx, stop := context.WithCancel(t.Context())
	r, ended := newFullRig(t, f, nil, ctx)
	defer func() { stop(); <-ended }()
	r.archive.add(writing{run: 1, points: make([]sweep.Point, unstoredMost+1)})
	var refused *api.Error
	if _, err := r.Start(t.Context(), 1, "check"); !errors.As(err, &refused) || refused.Kind != api.Full {
		t.Errorf("%v", err)
	}
	if snap, err := r.Snapshot(t.Context()); err != nil || !idleNow(snap) {
		t.Errorf("%v %v", snap.Sweep.Phase, err)
	}
}
