package session

import (
	"bufio"
	"context"
	"errors"
	"net"
	"regexp"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"tramd/cmd/tramd/internal/api"
	"tramd/cmd/tramd/internal/clock"
	"tramd/cmd/tramd/internal/interlock"
	"tramd/cmd/tramd/internal/motion"
	"tramd/device"
	"tramd/device/frame"
	"tramd/sweep"
	"tramd/sweep/units"
)

// shopFloor is a controller that acknowledges everything, an arm that is where it was told at once, and an indicator on
// it.
type shopFloor struct {
	mu    sync.Mutex
	got   []string
	open  int
	slow  time.Duration // an acknowledgement takes so much longer
	later atomic.Int64  // how far the interlock's clock was put on, in nanoseconds
}

func (f *shopFloor) line(context.Context) (motion.Line, error) {
	near, far := net.Pipe()
	f.mu.Lock()
	f.open++
	f.mu.Unlock()
	go func() { // ends with the line
		lines := bufio.NewScanner(far)
		for lines.Scan() {
			text := lines.Text()
			f.mu.Lock()
			f.got = append(f.got, text)
			wait := 60*time.Millisecond + f.slow // a degree takes 33 ms
			f.mu.Unlock()
			if strings.HasPrefix(text, "G1 A-") { // it is the way back
				wait = 1500 * time.Millisecond
			}
			// It hears the next command meanwhile; nobody listens once the line is closed.
			time.AfterFunc(wait, func() { _, _ = far.Write([]byte("ok\n")) })
		}
	}()
	return near, nil
}

func (f *shopFloor) commands() []string {
	f.mu.Lock()
	defer f.mu.Unlock()
	return append([]string(nil), f.got...)
}

func motionRig(t *testing.T, targets []float64, home ...string) (*rig, *shopFloor) {
	t.Helper()
	floor := &shopFloor{}
	live := func() device.Status { return device.Status{State: device.StateLive} }
	p := motion.Program{
		Targets: targets, Move: []string{"G1 A{deg.0}"}, End: home, Stop: "M0", LineEnd: "\n",
		Done: regexp.MustCompile("^ok$"),
		Feed: 1800, Low: 0, High: 360, Settle: 20 * time.Second, Ack: 5 * time.Second,
		Silent:     5 * time.Second,
		Indicators: []motion.Indicator{{Name: "arm", LowMM: -5, HighMM: 5}},
	}
	sh := &shelf{}
	lock := interlock.New(interlock.Options{Clock: func() time.Duration {
		return clock.SinceBoot() + time.Duration(floor.later.Load())
	}})
	s, err := New(Options{
		Setup: sweep.Setup{Machine: "linnet", AngleSource: "program",
			Indicators: []sweep.Indicator{{Name: "arm", RadiusMM: 120, ResolutionMM: 0.001}}},
		Indicators: []IndicatorRoute{{Device: 0}},
		Angle: AngleRoute{Device: -1, Stations: sweep.StationOptions{AnglesDeg: targets, Told: true,
			SettleS: 0.2}},
		Motion: &Motion{Program: p, Planned: p, Open: floor.line}, Interlock: lock,
		Ports:   []Port{{Name: "arm", Status: live}},
		Archive: sh, Fit: func([]sweep.Point, sweep.Setup) (sweep.Result, error) {
			return sweep.Result{Model: "plain"}, nil
		},
	})
	if err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(context.Background())
	done := make(chan struct{})
	go func() { defer close(done); _ = s.Run(ctx) }() // Run has no errors of its own
	quiet := make(chan struct{})
	go func() {
		defer close(quiet)
		z := int64(units.Millimetre)
		for ctx.Err() == nil {
			s.Sink(device.Batch{Device: 0, Samples: []device.Sample{{At: device.Now(), Kind: frame.Length, Value: z}}})
			time.Sleep(10 * time.Millisecond)
		}
	}()
	t.Cleanup(func() { stop(); <-done; <-quiet })
	return &rig{Session: s, shelf: sh}, floor
}

func TestNothingMovesWithoutBothActs(t *testing.T) {
	r, floor := motionRig(t, []float64{0, 1, 2})
	var refused *api.Error
	no := func(what string, status int, err error) {
		t.Helper()
		if !errors.As(err, &refused) || refused.Kind.Status() != status {
			t.Errorf("%s: %v, want status %d", what, err, status)
		}
	}
	_, err := r.Start(t.Context(), 1, "check")
	no("a plain start", 409, err)
	_, err = r.StartMotion(t.Context(), "", "check")
	no("no key", 403, err)
	_, err = r.StartArmed(t.Context(), "check")
	no("a planned check without arming", 403, err)
	armed, err := r.Arm(t.Context(), 0)
	if err != nil || armed.Key == "" || len(armed.Commands) != 3 || armed.Stop != "M0" || len(armed.Cautions) < 3 {
		t.Fatalf("%+v %v", armed, err)
	}
	_, err = r.StartMotion(t.Context(), armed.Key+"x", "check")
	no("a wrong key", 403, err)
	_, err = r.StartArmed(t.Context(), "check")
	no("a planned check by a person's key", 403, err)
	floor.later.Store(int64(61 * time.Second))
	_, err = r.StartMotion(t.Context(), armed.Key, "check")
	no("a key that has run out", 403, err)
	floor.later.Store(0)
	if armed, err = r.Arm(t.Context(), 0); err != nil {
		t.Fatal(err)
	}
	if err := r.Disarm(t.Context()); err != nil {
		t.Fatal(err)
	}
	_, err = r.StartMotion(t.Context(), armed.Key, "check")
	no("a key taken back", 403, err)
	_, err = r.Arm(t.Context(), 1000*time.Hour)
	no("armed for ever", 400, err)
	if floor.open != 0 || len(floor.commands()) != 0 {
		t.Errorf("the line was opened %d times, sent %q", floor.open, floor.commands())
	}
	if armed, err = r.Arm(t.Context(), 0); err != nil {
		t.Fatal(err)
	}
	run, err := r.StartMotion(t.Context(), armed.Key, "check")
	if err != nil {
		t.Fatal(err)
	}
	no("skipping", 409, r.Skip(t.Context(), run))
	_, err = r.StartMotion(t.Context(), armed.Key, "check")
	no("twice by one key", 409, err)
	r.wait(t, "the end", idleNow)
	_, err = r.StartMotion(t.Context(), armed.Key, "check")
	no("again by one key", 403, err)
	if got := strings.Join(floor.commands(), "|"); got != "G1 A0|G1 A1|G1 A2" {
		t.Errorf("sent %q", got)
	}
}

// keepHolding holds a motion until the test ends.
func (r *rig) keepHolding(t *testing.T, key string) {
	ctx, stop := context.WithCancel(context.Background())
	done := make(chan struct{})
	go func() {
		defer close(done)
		for ctx.Err() == nil && r.Hold(ctx, key) == nil {
			time.Sleep(50 * time.Millisecond)
		}
	}()
	t.Cleanup(func() { stop(); <-done })
}

// moveNow arms, starts and holds a motion.
func (r *rig) moveNow(t *testing.T) (run int64, key string) {
	t.Helper()
	armed, err := r.Arm(t.Context(), 0)
	if err != nil {
		t.Fatal(err)
	}
	if run, err = r.StartMotion(t.Context(), armed.Key, "check"); err != nil {
		t.Fatal(err)
	}
	r.keepHolding(t, armed.Key)
	return run, armed.Key
}

// stopSent waits for the stop command and says how long that took.
func (f *shopFloor) stopSent(t *testing.T) time.Duration {
	t.Helper()
	began := time.Now()
	for time.Since(began) < 10*time.Second {
		if got := f.commands(); len(got) > 0 && got[len(got)-1] == "M0" {
			return time.Since(began)
		}
		time.Sleep(time.Millisecond)
	}
	t.Fatalf("sent %q, and no stop", f.commands())
	return 0
}

// Every way a run is ended stops the arm, the run ends when it stands, and what is stored says why.
func TestARunEndsWhenTheArmStandsAndSaysWhy(t *testing.T) {
	for name, tc := range map[string]struct {
		planned bool
		do      func(r *rig, floor *shopFloor, run int64, key string) error
		outcome api.Outcome
		why     string
	}{
		"given up": {false, func(r *rig, _ *shopFloor, run int64, _ string) error {
			return r.Abandon(context.Background(), run)
		}, api.Abandoned, "given up by the person"},
		"let go": {false, func(r *rig, _ *shopFloor, _ int64, key string) error {
			return r.LetGo(context.Background(), key)
		}, api.Abandoned, "was let go"},
		"disarmed": {false, func(r *rig, _ *shopFloor, _ int64, _ string) error {
			return r.Disarm(context.Background())
		}, api.Abandoned, "the motion was disarmed"},
		"plan disarmed": {true, func(r *rig, _ *shopFloor, _ int64, _ string) error {
			return r.Disarm(context.Background())
		}, api.Abandoned, "the motion was disarmed"},
		"arming ran out": {true, func(_ *rig, floor *shopFloor, _ int64, _ string) error {
			floor.later.Store(int64(2 * time.Hour))
			return nil
		}, api.Abandoned, "the arming of planned checks ran out"},
		"a reading": {true, func(r *rig, _ *shopFloor, _ int64, _ string) error { r.reads(9); return nil }, api.Failed,
			"arm reads 9.000 mm, outside its travel"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			// A computer that is too busy to watch the arm stops it for that reason, and rightly: then once more.
			for range 10 {
				r, floor := motionRig(t, []float64{0, 1, 2, 3, 4})
				floor.slow = time.Second
				run, key := r.begins(t, tc.planned)
				for len(floor.commands()) < 2 {
					time.Sleep(time.Millisecond)
				}
				did := tc.do(r, floor, run, key)
				floor.stopSent(t)
				snap, err := r.Snapshot(t.Context())
				r.wait(t, "the end", idleNow)
				end := r.shelf.ends[0]
				if strings.Contains(end.Why, "this computer stood still") {
					continue
				}
				if did != nil {
					t.Fatal(did)
				}
				if err != nil || snap.Sweep.Run != run || snap.Sweep.Phase == api.PhaseIdle {
					t.Errorf("the run has ended before the arm stands: %+v, %v", snap.Sweep, err)
				}
				if end.Outcome != tc.outcome || !strings.Contains(end.Why, tc.why) {
					t.Errorf("stored as %v: %q, want %v: %q", end.Outcome, end.Why, tc.outcome, tc.why)
				}
				if got := floor.commands(); got[len(got)-1] != "M0" {
					t.Errorf("sent %q", got)
				}
				return
			}
			t.Fatal("this computer is too busy to watch an arm")
		})
	}
}

// begins starts the motion of a plan, or one that a person holds.
func (r *rig) begins(t *testing.T, planned bool) (run int64, key string) {
	t.Helper()
	if !planned {
		return r.moveNow(t)
	}
	if _, err := r.Arm(t.Context(), time.Hour); err != nil {
		t.Fatal(err)
	}
	run, err := r.StartArmed(t.Context(), "check")
	if err != nil {
		t.Fatal(err)
	}
	return run, ""
}

// reads brings one reading of so many millimetres.
func (r *rig) reads(mm int64) {
	r.Sink(device.Batch{Device: 0, Samples: []device.Sample{
		{At: device.Now(), Kind: frame.Length, Value: mm * int64(units.Millimetre)}}})
}

// The arm is moved back after the last station: until it stands the run goes on, can be stopped, and keeps what was
// measured.
func TestTheWayBackBelongsToTheRun(t *testing.T) {
	for name, tc := range map[string]struct {
		do      func(r *rig, run int64) error
		outcome api.Outcome
		why     string
	}{
		"undisturbed": {func(*rig, int64) error { return nil }, api.Finished, ""},
		"given up": {func(r *rig, run int64) error { return r.Abandon(context.Background(), run) }, api.Abandoned,
			"every reading was taken, but the way back was not finished: given up by the person"},
		"a reading": {func(r *rig, _ int64) error { r.reads(-9); return nil }, api.Failed, "outside its travel"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			r, floor := motionRig(t, []float64{0, 1, 2, 3}, "G1 A-0")
			run, _ := r.moveNow(t)
			snap := r.wait(t, "the way back", func(s *api.Snapshot) bool { return s.Sweep.Phase == api.PhaseReturning })
			if !strings.Contains(snap.Sweep.Say, "keep clear") || len(r.shelf.ended()) != 0 {
				t.Errorf("it says %q, ended %+v", snap.Sweep.Say, r.shelf.ended())
			}
			if err := tc.do(r, run); err != nil {
				t.Fatal(err)
			}
			r.wait(t, "the end", idleNow)
			end := r.shelf.ended()[0]
			if end.Outcome != tc.outcome || !strings.Contains(end.Why, tc.why) || end.Result == nil ||
				len(r.shelf.points) != 4 {
				t.Errorf("stored as %v: %q with %+v, %d points", end.Outcome, end.Why, end.Result, len(r.shelf.points))
			}
			got := strings.Join(floor.commands(), "|")
			if want := "G1 A0|G1 A1|G1 A2|G1 A3|G1 A-0"; got != want && got != want+"|M0" ||
				strings.HasSuffix(got, "M0") == (tc.why == "") {
				t.Errorf("sent %q", got)
			}
		})
	}
}

// A run that cannot be begun after all is not left open in the record.
func TestARunThatCannotBeBegunIsClosed(t *testing.T) {
	r, floor := motionRig(t, []float64{0, 1})
	armed, err := r.Arm(t.Context(), 0)
	if err != nil {
		t.Fatal(err)
	}
	r.shelf.begins = func() { floor.later.Store(int64(3 * time.Second)) } // so slowly that nobody holds any more
	if _, err := r.StartMotion(t.Context(), armed.Key, "check"); err == nil ||
		!strings.Contains(err.Error(), "no sign came") {
		t.Fatal(err)
	}
	for end := time.Now().Add(5 * time.Second); len(r.shelf.ended()) == 0 && time.Now().Before(end); {
		time.Sleep(5 * time.Millisecond)
	}
	if ends := r.shelf.ended(); len(ends) != 1 || ends[0].Outcome != api.Failed ||
		!strings.Contains(ends[0].Why, "could not be begun") || len(floor.commands()) != 0 {
		t.Errorf("%+v, sent %q", ends, floor.commands())
	}
}

func TestAPlannedProgramIsTakenWhole(t *testing.T) {
	r, _ := motionRig(t, []float64{0, 1, 2, 3, 4})
	if _, err := r.Arm(t.Context(), time.Hour); err != nil {
		t.Fatal(err)
	}
	snap, err := r.Snapshot(t.Context())
	if until := snap.Angle.ArmedUntil; err != nil || until == nil || time.Until(*until) < 59*time.Minute {
		t.Errorf("armed until %v, %v", until, err)
	}
	run, err := r.StartArmed(t.Context(), "check")
	if err != nil {
		t.Fatal(err)
	}
	r.wait(t, "the end", idleNow)
	if run != 1 || len(r.shelf.points) != 5 || r.shelf.ended()[0].Outcome != api.Finished {
		t.Fatalf("run %d, %d points, %+v", run, len(r.shelf.points), r.shelf.ended())
	}
}
