package session

import (
	"math"
	"math/rand/v2"
	"slices"
	"sync/atomic"
	"testing"
	"time"

	"tramd/cmd/tramd/internal/api"
	"tramd/device"
	"tramd/device/frame"
	"tramd/sweep"
	"tramd/sweep/mixed"
	"tramd/sweep/units"
)

// handRig is a running session with an encoder that is late, and a time of day that somebody sets.
func handRig(t *testing.T, bothWays bool, wall func() time.Time) *rig {
	t.Helper()
	sh := &shelf{}
	live := func() device.Status { return device.Status{State: device.StateLive} }
	s, err := New(Options{
		Setup: sweep.Setup{Machine: "linnet", AngleSource: "encoder",
			Indicators: []sweep.Indicator{{Name: "arm", RadiusMM: 120, ResolutionMM: 0.001}}},
		Indicators: []IndicatorRoute{{Device: 0}},
		Angle:      AngleRoute{Device: 1, Encoder: sweep.EncoderOptions{CountsPerTurn: 36000}},
		Ports:      []Port{{Name: "arm", Status: live}, {Name: "encoder", Status: live}},
		Archive:    sh, Fit: mixed.Fit, BothWays: bothWays, Wall: wall,
	})
	if err != nil {
		t.Fatal(err)
	}
	keepRunning(t, s)
	return &rig{Session: s, shelf: sh, at: device.Now()}
}

const lateS = 0.06

// sweepLate turns the arm once round in six seconds, and back if asked, with an encoder whose lines come lateS after
// the moment they speak of.
func (r *rig) sweepLate(rng *rand.Rand, back bool) {
	const seconds, rate = 6.0, 200.0
	place := func(t float64) float64 { // degrees
		switch {
		case t < 0:
			return 0
		case t <= seconds:
			return 366 * t / seconds
		case t < seconds+1 || !back:
			return 366
		}
		return max(0, 366-366*(t-seconds-1)/seconds)
	}
	start, until := r.at, seconds+0.5
	if back {
		until = 2*seconds + 1.5
	}
	for i := range int(until * rate) {
		t := float64(i) / rate
		r.at = start + device.Stamp(t*1e9)
		th := sweep.Radians(place(t))
		// well inside an indicator's travel
		z, _ := units.FromMM(math.Round(
			1000*(1+120*(rigTilt*math.Cos(th)+rigNod*math.Sin(th))+0.001*rng.NormFloat64())) / 1000)
		r.Sink(device.Batch{Device: 0, Samples: []device.Sample{{At: r.at, Kind: frame.Length, Value: int64(z)}}})
		r.Sink(device.Batch{Device: 1,
			Samples: []device.Sample{{At: r.at, Kind: frame.Count, Value: int64(place(t-lateS) * 100)}}})
	}
}

func TestASweepBothWaysFindsHowLateTheEncoderIs(t *testing.T) {
	azimuth := func(bothWays bool) (off float64, codes []string) {
		r := handRig(t, bothWays, nil)
		if _, err := r.Start(t.Context(), 1, "check"); err != nil {
			t.Fatal(err)
		}
		r.sweepLate(rand.New(rand.NewPCG(1, 2)), bothWays)
		snap := r.wait(t, "the end", idleNow)
		if snap.Last == nil {
			t.Fatalf("no result: %+v", r.shelf.ends)
		}
		res := snap.Last.Result
		for _, w := range res.Warnings {
			codes = append(codes, w.Code)
		}
		return sweep.Degrees(math.Remainder(res.Lean.Azimuth-math.Atan2(rigNod, rigTilt), 2*math.Pi)), codes
	}
	one, _ := azimuth(false)
	both, codes := azimuth(true)
	// 61 degrees a second for 0.06 s.
	if math.Abs(one) < 2.5 {
		t.Errorf("one way round the lean points %.2f degrees off; the delay should show", one)
	}
	if math.Abs(both) > 0.5 || !slices.Contains(codes, mixed.WarnDelay) {
		t.Errorf("both ways round it points %.2f degrees off, with warnings %v", both, codes)
	}
}

func TestAStepOfTheClockDoesNotTouchASweep(t *testing.T) {
	run := func(wall func() time.Time) (api.LastRun, []sweep.Point) {
		r := handRig(t, false, wall)
		if _, err := r.Start(t.Context(), 1, "check"); err != nil {
			t.Fatal(err)
		}
		// ticks go by, with readers watching
		for deadline := time.Now().Add(300 * time.Millisecond); time.Now().Before(deadline); {
			if _, err := r.Snapshot(t.Context()); err != nil {
				t.Fatal(err)
			}
			time.Sleep(10 * time.Millisecond)
		}
		r.sweepLate(rand.New(rand.NewPCG(1, 2)), false)
		snap := r.wait(t, "the end", idleNow)
		if snap.Last == nil {
			t.Fatalf("no result: %+v", r.shelf.ends)
		}
		return *snap.Last, r.shelf.points
	}
	var n atomic.Int64
	jumping := func() time.Time { // months forward and back at every look, without a monotonic reading
		i := n.Add(1)
		return time.Unix(1_760_000_000+(i%2*2-1)*i*7_000_000, 0)
	}
	calm, calmPoints := run(nil)
	wild, wildPoints := run(jumping)
	if n.Load() < 10 {
		t.Fatalf("the time of day was asked for %d times", n.Load())
	}
	if len(calmPoints) != len(wildPoints) {
		t.Fatalf("%d points, and %d while the clock jumped", len(calmPoints), len(wildPoints))
	}
	for i := range calmPoints {
		a, b := calmPoints[i], wildPoints[i]
		if a.Angle != b.Angle && !(math.IsNaN(a.Angle) && math.IsNaN(b.Angle)) || a.Reading != b.Reading ||
			math.Abs((b.T-wildPoints[0].T)-(a.T-calmPoints[0].T)) > 1e-6 {
			t.Fatalf("point %d: %+v, and %+v while the clock jumped", i, a, b)
		}
	}
	if d := math.Abs(float64(calm.Result.Tilt.Slope - wild.Result.Tilt.Slope)); d > 1e-9 {
		t.Errorf("tilt %v, and %v while the clock jumped", calm.Result.Tilt.Slope, wild.Result.Tilt.Slope)
	}
}
