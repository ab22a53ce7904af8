package session

import (
	"bufio"
	"context"
	"errors"
	"net"
	"regexp"
	"strings"
	"sync"
	"testing"
	"time"

	"tramd/cmd/tramd/internal/motion"
	"tramd/device"
	"tramd/sweep"
	"tramd/sweep/units"
)

// shopFloor is a controller that acknowledges everything, an arm that is where it was told at once, and an indicator on it.
type shopFloor struct {
	mu   sync.Mutex
	got  []string
	open int
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
			f.mu.Unlock()
			time.Sleep(60 * time.Millisecond) // a degree takes 33 ms
			if _, err := far.Write([]byte("ok\n")); err != nil {
				return
			}
		}
	}()
	return near, nil
}

func (f *shopFloor) commands() []string {
	f.mu.Lock()
	defer f.mu.Unlock()
	return append([]string(nil), f.got...)
}

func motionRig(t *testing.T, targets []float64) (*rig, *shopFloor) {
	t.Helper()
	floor := &shopFloor{}
	live := func() device.Status { return device.Status{State: device.StateLive} }
	p := motion.Program{
		Targets: targets, Move: []string{"G1 A{deg.0}"}, Stop: "M0", LineEnd: "\n", Done: regexp.MustCompile("^ok$"),
		FeedDegPerMin: 1800, LowDeg: 0, HighDeg: 360, Settle: 20 * time.Second, Ack: 5 * time.Second, Silent: 5 * time.Second,
		Indicators: []motion.Travel{{Name: "arm", LowMM: -5, HighMM: 5}},
	}
	sh := &shelf{}
	s, err := New(Options{
		Setup:      sweep.Setup{Machine: "linnet", AngleSource: "program", Indicators: []sweep.Indicator{{Name: "arm", RadiusMM: 120, ResolutionMM: 0.001}}},
		Indicators: []IndicatorRoute{{Device: 0}},
		Angle:      AngleRoute{Device: -1, Stations: sweep.StationOptions{AnglesDeg: targets, Told: true, SettleS: 0.2}},
		Motion:     &Motion{Program: p, Open: floor.line},
		Ports:      []Port{{Name: "arm", Status: live}},
		Archive:    sh, Fit: sweep.FitPlain,
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
			s.Sink(device.Batch{Device: 0, Samples: []device.Sample{{At: device.Now(), Kind: device.Length, Value: z}}})
			time.Sleep(10 * time.Millisecond)
		}
	}()
	t.Cleanup(func() { stop(); <-done; <-quiet })
	return &rig{Session: s, shelf: sh}, floor
}

func TestNothingMovesWithoutBothActs(t *testing.T) {
	r, floor := motionRig(t, []float64{0, 1, 2})
	var refused *Refusal
	no := func(what string, status int, err error) {
		t.Helper()
		if !errors.As(err, &refused) || refused.Status != status {
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
	if err := r.ask(t.Context(), func() { r.armed.until = time.Now().Add(-time.Second) }); err != nil {
		t.Fatal(err)
	}
	_, err = r.StartMotion(t.Context(), armed.Key, "check")
	no("a key that has run out", 403, err)
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

func TestAPlannedProgramIsTakenWholeOrCalledOff(t *testing.T) {
	r, floor := motionRig(t, []float64{0, 1, 2, 3, 4})
	if _, err := r.Arm(t.Context(), time.Hour); err != nil {
		t.Fatal(err)
	}
	if until, err := r.ArmedUntil(t.Context()); err != nil || time.Until(until) < 59*time.Minute {
		t.Errorf("armed until %v, %v", until, err)
	}
	run, err := r.RunProgram(t.Context(), "check")
	if err != nil || run != 1 || len(r.shelf.points) != 5 {
		t.Fatalf("run %d, %v, %d points", run, err, len(r.shelf.points))
	}
	ctx, cancel := context.WithCancel(t.Context())
	go func() {
		for len(floor.commands()) < 7 {
			time.Sleep(5 * time.Millisecond)
		}
		cancel()
	}()
	if run, err = r.RunProgram(ctx, "check"); !errors.Is(err, context.Canceled) || run != 2 {
		t.Errorf("run %d, %v", run, err)
	}
	r.wait(t, "the end", idleNow)
	if end := r.shelf.ends[1]; end.Outcome != Abandoned {
		t.Errorf("%+v", end)
	}
	for range 200 {
		if got := floor.commands(); got[len(got)-1] == "M0" {
			return
		}
		time.Sleep(10 * time.Millisecond)
	}
	t.Errorf("sent %q, and no stop at the end", floor.commands())
}
