package session

import (
	"context"
	"errors"
	"math"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"tramd/cmd/tramd/internal/api"
	"tramd/device"
	"tramd/device/frame"
	"tramd/sweep"
	"tramd/sweep/units"
)

// shelf is an archive in memory that can be made to fail.
type shelf struct {
	mu     sync.Mutex
	broken error
	points []sweep.Point
	doubts []sweep.Doubt
	ends   []Ending
	runs   int64
	begins func()        // called when a run is begun; may be nil
	hangs  chan struct{} // until it is closed nothing that is written comes back; nil: at once
}

// ended gives the ends of runs so far.
func (s *shelf) ended() []Ending {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.ends[:len(s.ends):len(s.ends)]
}

func (s *shelf) AddDoubt(_ context.Context, _ int64, d sweep.Doubt) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.broken == nil {
		s.doubts = append(s.doubts, d)
	}
	return s.broken
}

func (s *shelf) BeginRun(context.Context, Beginning) (int64, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.begins != nil {
		s.begins()
	}
	s.runs++
	return s.runs, s.broken
}

func (s *shelf) AppendPoints(_ context.Context, _ int64, pts []sweep.Point, _ *Spots) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.broken == nil {
		s.points = append(s.points, pts...)
	}
	return s.broken
}

func (s *shelf) FinishRun(_ context.Context, _ int64, e Ending) error {
	if s.hangs != nil {
		<-s.hangs
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.broken == nil {
		s.ends = append(s.ends, e)
	}
	return s.broken
}

func (s *shelf) breakWith(err error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.broken = err
}

// rig is a running session with an indicator (device 0) and an encoder (device 1) that the test plays.
type rig struct {
	*Session
	shelf    *shelf
	at       device.Stamp
	lost     int          // counts of the encoder that never came
	waits    atomic.Int64 // how long the ports' bytes may wait, in nanoseconds
	readNows atomic.Int64 // how often the ports were to be read at once
}

func newRig(t *testing.T, idle time.Duration) *rig {
	t.Helper()
	sh := &shelf{}
	r := &rig{shelf: sh, at: device.Now()}
	r.waits.Store(-1)
	live := func() device.Status { return device.Status{State: device.StateLive} }
	s, err := New(Options{
		Setup: sweep.Setup{Machine: "linnet",
			Indicators: []sweep.Indicator{{Name: "arm", RadiusMM: 120, ResolutionMM: 0.001}}},
		Indicators: []IndicatorRoute{{Device: 0}},
		Angle:      AngleRoute{Device: 1, Encoder: sweep.EncoderOptions{CountsPerTurn: 3600}},
		Ports:      []Port{{Name: "arm", Status: live}, {Name: "encoder", Status: live}},
		Idle:       idle, Archive: sh, Fit: sweep.FitPlain,
		Latency: func(d time.Duration) { r.waits.Store(int64(d)) },
		ReadNow: func() { r.readNows.Add(1) },
	})
	if err != nil {
		t.Fatal(err)
	}
	keepRunning(t, s)
	r.Session = s
	return r
}

// keepRunning runs a session until the test is over.
func keepRunning(t *testing.T, s *Session) {
	ctx, stop := context.WithCancel(context.Background())
	done := make(chan struct{})
	go func() { defer close(done); _ = s.Run(ctx) }() // Run has no errors of its own
	t.Cleanup(func() { stop(); <-done })
}

const rigTilt, rigNod = 0.4e-3, -0.2e-3

// turn plays the arm going from one angle to another, in degrees, one reading and one count each degree.
func (r *rig) turn(from, to int) {
	for deg := from; deg <= to; deg++ {
		th := float64(deg) * math.Pi / 180
		z, _ := units.FromMM(1 + 120*(rigTilt*math.Cos(th)+rigNod*math.Sin(th))) // well inside an indicator's travel
		r.at += device.Stamp(5 * time.Millisecond)
		r.Sink(device.Batch{Device: 0, Samples: []device.Sample{{At: r.at, Kind: frame.Length, Value: int64(z)}}})
		r.Sink(device.Batch{Device: 1,
			Samples: []device.Sample{{At: r.at, Kind: frame.Count, Value: int64(deg*10 - r.lost)}}})
	}
}

func (r *rig) wait(t *testing.T, what string, ok func(*api.Snapshot) bool) *api.Snapshot {
	t.Helper()
	for range 6000 {
		snap, err := r.Snapshot(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		if ok(snap) {
			return snap
		}
		time.Sleep(10 * time.Millisecond)
	}
	t.Fatalf("waited in vain for %s", what)
	return nil
}

func idleNow(s *api.Snapshot) bool { return s.Sweep.Phase == api.PhaseIdle }

func TestASweepIsStoredWholeAndConcluded(t *testing.T) {
	r := newRig(t, 0)
	run, err := r.Start(t.Context(), 1, "check")
	if err != nil {
		t.Fatal(err)
	}
	r.turn(0, 370)
	snap := r.wait(t, "the end", idleNow)
	if snap.Last == nil || snap.Last.Run != run || snap.Runs[api.RunKey{Kind: "sweep", Outcome: "finished"}] != 1 {
		t.Fatalf("last %+v, runs %v", snap.Last, snap.Runs)
	}
	got := snap.Last.Result
	if math.Abs(float64(got.Tilt.Slope)-rigTilt) > 1e-8 || math.Abs(float64(got.Nod.Slope)-rigNod) > 1e-8 {
		t.Errorf("tilt %v nod %v", got.Tilt.Slope, got.Nod.Slope)
	}
	if n := len(r.shelf.points); n != got.Readings || n < 360 {
		t.Errorf("%d points stored, %d fitted", n, got.Readings)
	}
}

func TestAFullDiskLosesNothingAndStorageResumes(t *testing.T) {
	r := newRig(t, 0)
	if _, err := r.Start(t.Context(), 1, "check"); err != nil {
		t.Fatal(err)
	}
	r.shelf.breakWith(errors.New("no space left"))
	r.turn(0, 200)
	snap := r.wait(t, "the trouble to be seen", func(s *api.Snapshot) bool { return !s.Store.OK })
	if snap.Sweep.Result == nil || snap.Sweep.Stored != 0 {
		t.Errorf("the live view must go on: result %v, %d shown as stored", snap.Sweep.Result, snap.Sweep.Stored)
	}
	r.turn(201, 370)
	r.wait(t, "all readings", func(s *api.Snapshot) bool { return s.Sweep.Phase == api.PhaseFitting })
	r.shelf.breakWith(nil)
	snap = r.wait(t, "the end", idleNow)
	if !snap.Store.OK || len(r.shelf.ends) != 1 || len(r.shelf.points) != snap.Last.Result.Readings {
		t.Errorf("store %+v, %d ends, %d points", snap.Store, len(r.shelf.ends), len(r.shelf.points))
	}
}

func TestOneSweepAtATimeAndOnlyItCanBeAbandoned(t *testing.T) {
	r := newRig(t, 0)
	run, err := r.Start(t.Context(), 1, "check")
	if err != nil {
		t.Fatal(err)
	}
	var refused *api.Error
	if _, err := r.Start(t.Context(), 1, "check"); !errors.As(err, &refused) || refused.Kind != api.Conflict {
		t.Errorf("a second sweep: %v", err)
	}
	if err := r.Abandon(t.Context(), run+1); !errors.As(err, &refused) || refused.Kind != api.NotFound {
		t.Errorf("abandoning another: %v", err)
	}
	if err := r.Take(t.Context(), run); !errors.As(err, &refused) || refused.Kind != api.Conflict {
		t.Errorf("taking a station of an encoder: %v", err)
	}
	r.turn(0, 40)
	r.wait(t, "readings", func(s *api.Snapshot) bool { return s.Sweep.Readings > 0 })
	if err := r.Abandon(t.Context(), run); err != nil {
		t.Fatal(err)
	}
	r.wait(t, "the end", idleNow)
	if len(r.shelf.ends) != 1 || r.shelf.ends[0].Outcome != api.Abandoned || len(r.shelf.points) == 0 {
		t.Errorf("ends %+v, %d points", r.shelf.ends, len(r.shelf.points))
	}
	for _, bad := range []struct {
		turns   int
		purpose string
	}{{0, "check"}, {sweep.MaxTurns + 1, "check"}, {1, "fun"}} {
		if _, err := r.Start(t.Context(), bad.turns, bad.purpose); !errors.As(err, &refused) ||
			refused.Kind != api.Invalid {
			t.Errorf("%+v: %v", bad, err)
		}
	}
}

func TestASweepInWhichNothingMovesIsGivenUp(t *testing.T) {
	r := newRig(t, 200*time.Millisecond)
	if _, err := r.Start(t.Context(), 1, "check"); err != nil {
		t.Fatal(err)
	}
	r.wait(t, "the end", idleNow)
	if len(r.shelf.ends) != 1 || r.shelf.ends[0].Outcome != api.Abandoned {
		t.Errorf("ends %+v", r.shelf.ends)
	}
}

func TestAFailedBeginLeavesRoomForTheNext(t *testing.T) {
	r := newRig(t, 0)
	r.shelf.breakWith(errors.New("no space left"))
	if _, err := r.Start(t.Context(), 1, "check"); err == nil {
		t.Fatal("a run that is not in the store was begun")
	}
	r.shelf.breakWith(nil)
	if _, err := r.Start(t.Context(), 1, "check"); err != nil {
		t.Error(err)
	}
}
