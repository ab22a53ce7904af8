package session

import (
	"context"
	"errors"
	"math"
	"strings"
	"sync"
	"testing"
	"time"

	"tramd/cmd/tramd/internal/api"
	"tramd/device"
	"tramd/device/frame"
	"tramd/sweep"
	"tramd/sweep/units"
)

// zeroRig is a session with an indicator and an encoder of 3600 counts whose zero points anywhere, played by the test.
type zeroRig struct {
	*rig
	off      int // degrees of the spindle at which the encoder shows 0
	sign     int // -1: it counts down as the spindle turns counter-clockwise
	mark     int // degrees of the spindle at its index mark; -1: it has none
	last     int // where it is
	mu       sync.Mutex
	kept     []KeptZero
	returned uint64 // how often the encoder's port came back
}

func newZeroRig(t *testing.T, off, sign, mark int, change func(*AngleRoute)) *zeroRig {
	t.Helper()
	r := &zeroRig{rig: &rig{shelf: &shelf{}, at: device.Now()}, off: off, sign: sign, mark: mark}
	live := func() device.Status { return device.Status{State: device.StateLive} }
	encoder := func() device.Status {
		r.mu.Lock()
		defer r.mu.Unlock()
		return device.Status{State: device.StateLive, Reconnects: r.returned}
	}
	angle := AngleRoute{Device: 1, Encoder: sweep.EncoderOptions{CountsPerTurn: 3600}, ZeroUnknown: true,
		IndexMark: mark >= 0}
	if change != nil {
		change(&angle)
	}
	s, err := New(Options{
		Setup: sweep.Setup{Machine: "linnet", AngleSource: "encoder",
			Indicators: []sweep.Indicator{{Name: "arm", RadiusMM: 120, ResolutionMM: 0.001}}},
		Indicators: []IndicatorRoute{{Device: 0}},
		Angle:      angle,
		Ports:      []Port{{Name: "arm", Status: live}, {Name: "encoder", Status: encoder}},
		Archive:    r.shelf, Fit: sweep.FitPlain,
		KeepZero: func(_ context.Context, z KeptZero) error {
			r.mu.Lock()
			defer r.mu.Unlock()
			r.kept = append(r.kept, z)
			return nil
		},
	})
	if err != nil {
		t.Fatal(err)
	}
	keepRunning(t, s)
	r.Session = s
	return r
}

// swing turns the arm from one angle of the spindle to another, true degrees, a degree a step, either way.
func (r *zeroRig) swing(from, to int) {
	step := 1
	if to < from {
		step = -1
	}
	for deg := from; ; deg += step {
		if deg == from && from == r.last && from != to { // an arm that goes on does not stop for a sample
			continue
		}
		r.last = deg
		th := float64(deg) * math.Pi / 180
		z, _ := units.FromMM(1 + 120*(rigTilt*math.Cos(th)+rigNod*math.Sin(th)))
		r.at += device.Stamp(5 * time.Millisecond)
		r.Sink(device.Batch{Device: 0, Samples: []device.Sample{{At: r.at, Kind: frame.Length, Value: int64(z)}}})
		mark := r.mark >= 0 && ((deg-r.mark)%360+360)%360 == 0
		r.Sink(device.Batch{Device: 1,
			Samples: []device.Sample{
				{At: r.at, Kind: frame.Count, Mark: mark, Value: int64(r.sign * (deg - r.off) * 10)}}})
		if deg == to {
			return
		}
	}
}

// rest has the encoder speak on while the arm stands.
func (r *zeroRig) rest(deg int) {
	for range 80 {
		r.at += device.Stamp(5 * time.Millisecond)
		r.Sink(device.Batch{Device: 1,
			Samples: []device.Sample{{At: r.at, Kind: frame.Count, Value: int64(r.sign * (deg - r.off) * 10)}}})
	}
}

func (r *zeroRig) point(t *testing.T) {
	t.Helper()
	r.swing(-30, 0)
	r.rest(0)
	st, err := r.Point(t.Context(), api.ZeroRight)
	if err != nil || st.Next != api.ZeroBack {
		t.Fatalf("pointing right: %+v, %v", st, err)
	}
	r.swing(0, 75)
	if st, err = r.Point(t.Context(), api.ZeroBack); err != nil || !st.Known || st.From != sweep.ZeroPointed {
		t.Fatalf("turning back: %+v, %v", st, err)
	}
}

func (r *zeroRig) sweepOnce(t *testing.T) *sweep.Result {
	t.Helper()
	run, err := r.Start(t.Context(), 1, "check")
	if err != nil {
		t.Fatal(err)
	}
	r.swing(75, 445)
	snap := r.wait(t, "the result", func(s *api.Snapshot) bool {
		return s.Sweep.Phase == api.PhaseIdle && s.Last != nil && s.Last.Run == run
	})
	return &snap.Last.Result
}

// An encoder whose zero points to the back, or that counts the other way, no longer gives a wrong direction: before the
// zero is set there is none, and after two presses it is the truth.
func TestTwoPressesEstablishWhereZeroDegreesIs(t *testing.T) {
	for _, x := range []struct{ off, sign int }{{0, 1}, {90, 1}, {90, -1}, {217, -1}, {-140, 1}} {
		r := newZeroRig(t, x.off, x.sign, -1, nil)
		r.swing(75, 76)
		snap := r.wait(t, "an encoder that speaks", func(s *api.Snapshot) bool { return s.Angle.AgeS != nil })
		if snap.Angle.Zero == nil || snap.Angle.Zero.Known || snap.Angle.Deg != nil {
			t.Errorf("%+v: before: zero %+v, deg %v", x, snap.Angle.Zero, snap.Angle.Deg)
		}
		if got := r.sweepOnce(t); got.Tilt != nil || got.Nod != nil ||
			math.Abs(got.Lean.Slope.MMPerM()-math.Hypot(0.4, 0.2)) > 1e-3 {
			t.Errorf("%+v: before: %+v", x, got)
		}
		r.point(t)
		got := r.sweepOnce(t)
		if got.Tilt == nil || math.Abs(float64(got.Tilt.Slope)-rigTilt) > 1e-6 ||
			math.Abs(float64(got.Nod.Slope)-rigNod) > 1e-6 {
			t.Errorf("%+v: after: %+v", x, got)
		}
		if len(r.kept) != 1 || r.kept[0].Reversed != (x.sign < 0) ||
			math.Abs(math.Remainder(r.kept[0].ZeroDeg-float64(x.off), 360)) > 0.01 || r.kept[0].At.IsZero() {
			t.Errorf("%+v: stored %+v", x, r.kept)
		}
	}
}

// A configured zero counts as known, and is not asked for.
func TestAConfiguredZeroIsKnown(t *testing.T) {
	r := newZeroRig(t, 0, 1, -1, func(a *AngleRoute) { a.ZeroUnknown = false })
	r.swing(75, 76)
	snap := r.wait(t, "the angle", func(s *api.Snapshot) bool { return s.Angle.Deg != nil })
	if z := snap.Angle.Zero; !z.Known || z.From != sweep.ZeroConfigured {
		t.Errorf("%+v", z)
	}
}

// Without an index mark the zero goes with the encoder's port; with one it is kept, from the moment the mark was
// passed.
func TestAnIndexMarkKeepsTheZeroOverAnUnpluggedEncoder(t *testing.T) {
	for _, mark := range []int{-1, 40} {
		r := newZeroRig(t, 33, -1, mark, nil)
		r.point(t)
		if mark >= 0 {
			r.swing(75, 445)
		}
		r.mu.Lock()
		r.returned++
		r.mu.Unlock()
		r.off += 111 // its count begins again, with the arm anywhere
		want := mark >= 0
		snap := r.wait(t, "the loss to be seen", func(s *api.Snapshot) bool { return s.Angle.AgeS == nil })
		if snap.Angle.Zero.Known != want || want != (snap.Angle.Zero.From == sweep.ZeroIndex) {
			t.Errorf("mark %d: %+v", mark, snap.Angle.Zero)
		}
		if !want {
			if !strings.Contains(snap.Angle.Zero.Why, "unplugged") {
				t.Errorf("why: %q", snap.Angle.Zero.Why)
			}
			continue
		}
		r.swing(30, 75)
		if got := r.sweepOnce(t); got.Tilt == nil || math.Abs(float64(got.Tilt.Slope)-rigTilt) > 1e-6 ||
			math.Abs(float64(got.Nod.Slope)-rigNod) > 1e-6 {
			t.Errorf("after the mark: %+v", got)
		}
		if last := r.kept[len(r.kept)-1]; last.IndexDeg == nil || math.Abs(*last.IndexDeg-40) > 0.2 {
			t.Errorf("kept %+v", last)
		}
	}
}

// A zero that the index mark has kept is taken up at the next start, and asked for again without one.
func TestAKeptZeroIsTakenUpAtTheNextStart(t *testing.T) {
	deg := 40.0
	r := newZeroRig(t, -77, -1, 40, func(a *AngleRoute) {
		a.Kept = &KeptZero{At: time.Now(), Reversed: true, IndexDeg: &deg}
		a.Encoder.IndexDeg, a.Encoder.Reversed = &deg, true
	})
	r.swing(30, 75)
	if got := r.sweepOnce(t); got.Tilt == nil || math.Abs(float64(got.Tilt.Slope)-rigTilt) > 1e-6 ||
		math.Abs(float64(got.Nod.Slope)-rigNod) > 1e-6 {
		t.Errorf("%+v", got)
	}
	r = newZeroRig(t, -77, -1, -1, func(a *AngleRoute) { a.Kept = &KeptZero{At: time.Now()} })
	snap := r.wait(t, "a state", func(*api.Snapshot) bool { return true })
	if z := snap.Angle.Zero; z.Known || !strings.Contains(z.Why, "lasted until") {
		t.Errorf("without a mark: %+v", z)
	}
}

func TestPressesAtTheWrongMomentAreRefused(t *testing.T) {
	r := newZeroRig(t, 0, 1, -1, nil)
	press := func(step api.ZeroStep, want string) {
		t.Helper()
		_, err := r.Point(t.Context(), step)
		var refused *api.Error
		if !errors.As(err, &refused) || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: %v, want %q", step, err, want)
		}
	}
	press(api.ZeroRight, "has sent nothing yet")
	r.swing(-30, 0)
	press(api.ZeroRight, "still moving")
	press(api.ZeroBack, "not pointed right yet")
	press("left", "write \"right\"")
	r.rest(0)
	if _, err := r.Point(t.Context(), api.ZeroRight); err != nil {
		t.Fatal(err)
	}
	r.swing(0, 5)
	press(api.ZeroBack, "shows 5 degrees")
	r.swing(5, 200)
	press(api.ZeroBack, "shows 200 degrees")
	r.swing(200, 90)
	if st, err := r.Point(t.Context(), api.ZeroBack); err != nil || !st.Known {
		t.Errorf("%+v, %v", st, err)
	}
	if _, err := r.Start(t.Context(), 1, "check"); err != nil {
		t.Fatal(err)
	}
	press(api.ZeroRight, "a run is being taken")
}

// A person who mounted the encoder again says so, and no later start takes up the old zero.
func TestAForgottenZeroStaysForgotten(t *testing.T) {
	r := newZeroRig(t, 10, 1, 40, nil)
	r.point(t)
	r.swing(75, 445)
	r.wait(t, "the mark", func(s *api.Snapshot) bool { return s.Angle.Zero.IndexDeg != nil })
	st, err := r.ForgetZero(t.Context())
	if err != nil || st.Known {
		t.Fatalf("%+v, %v", st, err)
	}
	for range 6000 {
		r.mu.Lock()
		done := len(r.kept) > 0 && r.kept[len(r.kept)-1].IndexDeg == nil && len(r.kept) >= 2
		r.mu.Unlock()
		if done {
			return
		}
		time.Sleep(5 * time.Millisecond)
	}
	t.Errorf("stored %+v", r.kept)
}
