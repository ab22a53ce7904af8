package session

import (
	"errors"
	"math"
	"slices"
	"testing"
	"time"

	"tramd/cmd/tramd/internal/api"
	"tramd/device"
	"tramd/device/frame"
	"tramd/sweep"
	"tramd/sweep/units"
)

// steadyRig is a running session of a spindle that turns at a constant speed; device 1 is the index pulse, if there is
// one.
func steadyRig(t *testing.T, pulses bool) *rig {
	t.Helper()
	sh := &shelf{}
	live := func() device.Status { return device.Status{State: device.StateLive} }
	o := &sweep.Steady{MarkDeg: 90, Clockwise: true, TurnsPerMin: 62}
	at := -1
	if pulses {
		at = 1
	}
	s, err := New(Options{
		Setup: sweep.Setup{Machine: "wren", AngleSource: sweep.SourceSteady, Steady: o,
			Indicators: []sweep.Indicator{{Name: "lever", RadiusMM: 120, ResolutionMM: 0.001}}},
		Indicators: []IndicatorRoute{{Device: 0}},
		Angle:      AngleRoute{Device: at, Steady: o},
		Ports:      []Port{{Name: "lever", Status: live}, {Name: "index", Status: live}},
		Archive:    sh, Fit: sweep.FitPlain,
	})
	if err != nil {
		t.Fatal(err)
	}
	keepRunning(t, s)
	return &rig{Session: s, shelf: sh, at: device.Now()}
}

// spin has the arm turn clockwise once a second, from the mark, 50 readings a turn.
func (r *rig) spin(turns float64, pulses bool) {
	start := r.at
	for i := range int(turns * 50) {
		t := float64(i) / 50
		r.at = start + device.Stamp(t*1e9)
		if pulses && i%50 == 0 {
			r.Sink(device.Batch{Device: 1, Samples: []device.Sample{{At: r.at, Kind: frame.Pulse}}})
		}
		th := math.Pi/2 - 2*math.Pi*t
		z, _ := units.FromMM(1 + 120*(rigTilt*math.Cos(th)+rigNod*math.Sin(th))) // well inside an indicator's travel
		r.Sink(device.Batch{Device: 0, Samples: []device.Sample{{At: r.at, Kind: frame.Length, Value: int64(z)}}})
	}
}

func TestConstantTurningWithAnIndexPulse(t *testing.T) {
	r := steadyRig(t, true)
	run, err := r.Start(t.Context(), 3, "check")
	if err != nil {
		t.Fatal(err)
	}
	var refused *api.Error
	if err := r.Take(t.Context(), run); !errors.As(err, &refused) || refused.Kind != api.Conflict {
		t.Errorf("a mark by hand beside the pulse: %v", err)
	}
	r.spin(3.2, true)
	snap := r.wait(t, "the end", idleNow)
	if snap.Last == nil {
		t.Fatalf("no result: %+v", r.shelf.ends)
	}
	got := snap.Last.Result
	if math.Abs(float64(got.Tilt.Slope)-rigTilt) > 1e-6 || math.Abs(float64(got.Nod.Slope)-rigNod) > 1e-6 {
		t.Errorf("tilt %v nod %v", got.Tilt.Slope, got.Nod.Slope)
	}
	// What lies in the store is enough to fit it again.
	again, err := sweep.FitPlain(r.shelf.points, r.o.Setup)
	if err != nil || again.Tilt.Slope != got.Tilt.Slope {
		t.Errorf("again %v, then %v; %v", again.Tilt, got.Tilt, err)
	}
}

func TestConstantTurningWithAStartMark(t *testing.T) {
	r := steadyRig(t, false)
	run, err := r.Start(t.Context(), 4, "check")
	if err != nil {
		t.Fatal(err)
	}
	r.spin(0.5, false) // before the mark nothing counts
	snap, err := r.Snapshot(t.Context())
	if err != nil || snap.Sweep.Readings != 0 || snap.Sweep.Phase != api.PhaseWaiting {
		t.Fatalf("%+v %v", snap.Sweep, err)
	}
	r.at = device.Now() + device.Stamp(time.Millisecond) // the person presses as the arm passes
	if err := r.Take(t.Context(), run); err != nil {
		t.Fatal(err)
	}
	mark := r.at
	if err := r.Take(t.Context(), run); err == nil {
		t.Error("marked twice")
	}
	r.spin(5, false)
	snap = r.wait(t, "the end", idleNow)
	if snap.Last == nil {
		t.Fatalf("no result: %+v", r.shelf.ends)
	}
	got := snap.Last.Result
	// The mark was taken a little before the arm passed: what that is in angle may show.
	off := (mark - device.Stamp(r.shelf.points[0].T*1e9)).Seconds() * 2 * math.Pi
	if math.Abs(float64(got.Tilt.Slope)-rigTilt) > rigTilt*(off+0.01) ||
		math.Abs(float64(got.Nod.Slope)-rigNod) > rigTilt*(off+0.01) {
		t.Errorf("tilt %v nod %v, mark early by %v rad", got.Tilt.Slope, got.Nod.Slope, off)
	}
	if n := len(r.shelf.points); n < 200 {
		t.Errorf("%d points stored", n)
	}
}

// Four magnets a turn, one of them with a word: what is kept is enough to find the angles, and a turn is four pulses.
func TestConstantTurningWithFourMagnets(t *testing.T) {
	r := steadyRig(t, true)
	r.o.Angle.Steady.Pulses, r.o.Angle.Steady.Marked = 4, true // before anything runs that reads it
	r.o.Setup.Steady.Pulses, r.o.Setup.Steady.Marked = 4, true
	if _, err := r.Start(t.Context(), 3, "check"); err != nil {
		t.Fatal(err)
	}
	start := r.at
	at := [4]int{0, 13, 26, 37} // of 50 readings a turn
	for i := range int(3.4 * 50) {
		r.at = start + device.Stamp(float64(i)/50*1e9)
		if k := slices.Index(at[:], (i+20)%50); k >= 0 && i != 67 { // begins between two, and loses one
			r.Sink(device.Batch{Device: 1, Samples: []device.Sample{{At: r.at, Kind: frame.Pulse, Mark: k == 0}}})
		}
		th := math.Pi/2 - 2*math.Pi*float64(i+20)/50
		z, _ := units.FromMM(1 + 120*(rigTilt*math.Cos(th)+rigNod*math.Sin(th)))
		r.Sink(device.Batch{Device: 0, Samples: []device.Sample{{At: r.at, Kind: frame.Length, Value: int64(z)}}})
	}
	snap := r.wait(t, "the end", idleNow)
	if snap.Last == nil {
		t.Fatalf("no result: %+v", r.shelf.ends)
	}
	if got := snap.Last.Result; math.Abs(float64(got.Tilt.Slope)-rigTilt) > 2e-6 ||
		math.Abs(float64(got.Nod.Slope)-rigNod) > 2e-6 || len(got.Warnings) == 0 ||
		got.Warnings[0].Code != sweep.WarnMissedPulses {
		t.Errorf("tilt %v nod %v, %+v", got.Tilt.Slope, got.Nod.Slope, got.Warnings)
	}
}

// Nothing says where the arm points at a pulse whose place is not written: the lean has a size and no direction.
func TestAPulseWithoutAPlaceGivesNoDirection(t *testing.T) {
	t.Parallel()
	r := steadyRig(t, true)
	r.Session.o.Setup.Zero = &sweep.Zero{From: sweep.ZeroUnknown}
	if _, err := r.Start(t.Context(), 3, "check"); err != nil {
		t.Fatal(err)
	}
	r.spin(3.2, true)
	snap := r.wait(t, "the end", idleNow)
	if snap.Last == nil || snap.Last.Result.Tilt != nil || snap.Last.Result.Lean == nil ||
		!math.IsNaN(snap.Last.Result.Lean.Azimuth) {
		t.Fatalf("last %+v", snap.Last)
	}
	if !slices.ContainsFunc(snap.Last.Result.Warnings, func(w sweep.Warning) bool {
		return w.Code == sweep.WarnZeroUnknown
	}) {
		t.Errorf("warnings %v", snap.Last.Result.Warnings)
	}
}
