package session

import (
	"errors"
	"math"
	"slices"
	"strings"
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

// barRig is a running session of two indicators on one bar (devices 0 and 1), with the angle source that a test gives;
// an encoder is device 2.
type barRig struct {
	*Session
	shelf      *shelf
	at         device.Stamp
	reconnects atomic.Uint64 // of the second indicator
	tilt, nod  float64
}

const barZero = 0.2 // mm, what the first shows more than the second

func newBar(t *testing.T, angle AngleRoute, source string) *barRig {
	t.Helper()
	r := &barRig{shelf: &shelf{}, at: device.Now(), tilt: 0.3e-3, nod: -0.1e-3}
	live := func() device.Status { return device.Status{State: device.StateLive} }
	back := func() device.Status { return device.Status{State: device.StateLive, Reconnects: r.reconnects.Load()} }
	ports := []Port{{Name: "near", Status: live}, {Name: "far", Status: back}}
	if angle.Device >= 0 {
		ports = append(ports, Port{Name: "encoder", Status: live})
	}
	s, err := New(Options{
		Setup: sweep.Setup{Machine: "wren", AngleSource: source, Indicators: []sweep.Indicator{
			{Name: "near", RadiusMM: 100, ResolutionMM: 0.001},
			{Name: "far", RadiusMM: 150, PhaseDeg: 180, ResolutionMM: 0.001}}},
		Indicators: []IndicatorRoute{{Device: 0}, {Device: 1}}, Angle: angle, Ports: ports, Archive: r.shelf,
		Fit: mixed.Fit,
	})
	if err != nil {
		t.Fatal(err)
	}
	keepRunning(t, s)
	r.Session = s
	return r
}

// shows plays both indicators for so long with the arm at deg, 20 readings a second, and the encoder with them if there
// is one.
func (r *barRig) shows(deg, seconds float64, encoder bool) {
	for range int(seconds * 20) {
		r.at = max(r.at+device.Stamp(50*time.Millisecond), device.Now()-device.Stamp(50*time.Millisecond))
		if encoder {
			r.Sink(device.Batch{Device: 2,
				Samples: []device.Sample{{At: r.at, Kind: frame.Count, Value: int64(math.Round(deg * 10))}}})
		}
		for i, radius := range []float64{100, 150} {
			th := sweep.Radians(deg + 180*float64(i))
			z, _ := units.FromMM(math.Round(
				1000*(1.3-barZero*float64(i)+radius*(r.tilt*math.Cos(th)+r.nod*math.Sin(th)))) / 1000)
			r.Sink(device.Batch{Device: i, Samples: []device.Sample{{At: r.at, Kind: frame.Length, Value: int64(z)}}})
		}
	}
}

func (r *barRig) turnTo(from, to float64) {
	for deg := from; deg < to; deg += 2 {
		r.shows(deg, 0.05, true)
	}
	r.shows(to, 0.1, true)
}

func (r *barRig) wait(t *testing.T, what string, ok func(*api.Snapshot) bool) *api.Snapshot {
	t.Helper()
	return (&rig{Session: r.Session}).wait(t, what, ok)
}

// reads waits until the pair reads a lean along the bar that points to deg.
func (r *barRig) reads(t *testing.T, deg, mmPerM float64) *api.PairState {
	t.Helper()
	return r.wait(t, "the lean along the bar", func(s *api.Snapshot) bool {
		p := s.Pair
		return p != nil && p.MMPerM != nil && p.Deg != nil && math.Abs(*p.Deg-deg) < 0.5 &&
			math.Abs(*p.MMPerM-mmPerM) < 0.01
	}).Pair
}

// Two half turns at right angles, by eye: each zeroes the pair, the lean along the bar then follows a head that is
// swung, and both axes are told.
func TestTwoHalfTurnsGiveBothAxesLive(t *testing.T) {
	r := newBar(t, AngleRoute{Device: -1, Stations: sweep.StationOptions{AnglesDeg: []float64{0, 90, 180, 270},
		Closing: true}}, "stations")
	run, err := r.StartHalfTurn(t.Context(), "tilt")
	if err != nil {
		t.Fatal(err)
	}
	snap, _ := r.Snapshot(t.Context())
	if sw := snap.Sweep; sw.Kind != api.HalfTurn || len(sw.Stations) != 2 ||
		sw.Say != "Spindle power isolated? Set the bar with near at 0° (right), let go and keep still." {
		t.Errorf("%+v", sw)
	}
	r.shows(0, 1.2, false)
	snap = r.wait(t, "the first reading", func(s *api.Snapshot) bool { return s.Sweep.Stations[0].State == "taken" })
	if snap.Sweep.Say != "Read. Now turn the spindle half a turn by hand, near to 180° (left), let go and keep still." {
		t.Error(snap.Sweep.Say)
	}
	var refused *api.Error
	if err := r.Skip(t.Context(), run); !errors.As(err, &refused) || refused.Kind != api.Conflict {
		t.Errorf("half of a half turn was skipped: %v", err)
	}
	r.shows(180, 1.2, false)
	snap = r.wait(t, "the end", idleNow)
	if snap.Last != nil || snap.Runs[api.RunKey{Kind: api.HalfTurn, Outcome: "finished"}] != 1 ||
		snap.Runs[api.RunKey{Kind: "sweep", Outcome: "finished"}] != 0 {
		t.Errorf("a half turn passed for a check: %+v %v", snap.Last, snap.Runs)
	}
	r.shelf.mu.Lock()
	end := r.shelf.ends[0]
	r.shelf.mu.Unlock()
	if f := end.Result.Pair; f == nil || math.Abs(f.ZeroMM-barZero) > 0.001 || !(f.UMM > 0.0005) ||
		end.Result.Tilt == nil || end.Result.Nod != nil {
		t.Errorf("stored %+v of %+v", f, end.Result)
	}
	r.shows(180, 0.2, false)
	p := r.reads(t, 180, -0.3) // the first indicator now points left
	if p.Run != run || p.Kind != api.HalfTurn || !p.Told || p.Nod != nil || !(p.Half > 2*p.U) {
		t.Errorf("%+v", p)
	}
	r.tilt = 0.1e-3 // the head is swung
	r.shows(180, 0.2, false)
	r.reads(t, 180, -0.1)

	if _, err := r.StartHalfTurn(t.Context(), "nod"); err != nil {
		t.Fatal(err)
	}
	if snap, _ := r.Snapshot(t.Context()); snap.Pair == nil || snap.Pair.MMPerM != nil {
		t.Errorf("a lean while the spindle is being turned: %+v", snap.Pair)
	}
	r.shows(90, 1.2, false)
	r.wait(t, "the first reading", func(s *api.Snapshot) bool { return s.Sweep.Stations[0].State == "taken" })
	r.shows(270, 1.2, false)
	r.wait(t, "the end", idleNow)
	r.shows(270, 0.2, false)
	r.reads(t, 270, 0.1)
	both := r.wait(t, "both axes", func(s *api.Snapshot) bool { return s.Pair.Tilt != nil }).Pair
	if math.Abs(both.Tilt.MMPerM-0.1) > 0.01 || math.Abs(both.Nod.MMPerM+0.1) > 0.01 ||
		!both.Tilt.At.Before(both.Nod.At) || both.Tilt.Half < both.Half/2 {
		t.Errorf("tilt %+v nod %+v", both.Tilt, both.Nod)
	}

	r.reconnects.Add(1)
	r.wait(t, "the zero to be given up with the indicator that went away", func(s *api.Snapshot) bool {
		return s.Pair == nil
	})
}

// With an encoder readings count only where it says that the arm rests at the end of the half turn, and their angles
// are the encoder's. The lean then goes with the arm.
func TestAHalfTurnByAnEncoder(t *testing.T) {
	r := newBar(t, AngleRoute{Device: 2, Encoder: sweep.EncoderOptions{CountsPerTurn: 3600}}, "encoder")
	r.shows(170, 0.1, true)
	run, err := r.StartHalfTurn(t.Context(), "tilt")
	if err != nil {
		t.Fatal(err)
	}
	r.shows(170, 1.5, true)
	snap, _ := r.Snapshot(t.Context())
	if sw := snap.Sweep; sw.Stations[0].Deg != 180 || sw.Readings != 0 ||
		!strings.HasSuffix(sw.Say, "near at 180° (left); it stands at 170°.") {
		t.Errorf("%+v", sw)
	}
	var refused *api.Error
	if err := r.Take(t.Context(), run); !errors.As(err, &refused) || refused.Kind != api.Conflict {
		t.Errorf("taken beside the place: %v", err)
	}
	for deg := 170.0; deg <= 181; deg += 0.5 { // it creeps through the place: no rest, no reading
		r.shows(deg, 0.2, true)
	}
	if snap, _ = r.Snapshot(t.Context()); snap.Sweep.Readings != 0 {
		t.Errorf("%d readings on the way", snap.Sweep.Readings)
	}
	r.shows(181, 1.3, true)
	r.wait(t, "the first reading", func(s *api.Snapshot) bool { return s.Sweep.Stations[0].State == "taken" })
	if err := r.Take(t.Context(), run); !errors.As(err, &refused) {
		t.Errorf("the second end was taken at the first: %v", err)
	}
	r.turnTo(181, 360.5)
	r.shows(360.5, 1.3, true)
	r.wait(t, "the end", idleNow)
	r.shelf.mu.Lock()
	var degs []float64
	for _, p := range r.shelf.points {
		degs = append(degs, math.Round(10*sweep.Degrees(p.Angle))/10)
	}
	r.shelf.mu.Unlock()
	if len(degs) != 4 || degs[0] != 181 || slices.Max(degs)-slices.Min(degs) > 180.6 ||
		slices.Max(degs)-slices.Min(degs) < 179.4 {
		t.Errorf("angles %v", degs)
	}
	r.shows(360.5, 0.2, true)
	r.reads(t, 0.5, 0.3)
	r.turnTo(360.5, 405)
	r.reads(t, 45, (0.3-0.1)/math.Sqrt2)
	r.turnTo(405, 449)
	r.reads(t, 89, -0.1)
	p := r.wait(t, "both axes", func(s *api.Snapshot) bool { return s.Pair.Nod != nil }).Pair
	if p.Told || p.Tilt == nil || math.Abs(p.Tilt.MMPerM-0.3) > 0.01 || math.Abs(p.Nod.MMPerM+0.1) > 0.01 {
		t.Errorf("%+v %+v", p.Tilt, p.Nod)
	}
	if err := r.ForgetPair(t.Context()); err != nil {
		t.Fatal(err)
	}
	if snap, _ := r.Snapshot(t.Context()); snap.Pair != nil {
		t.Errorf("a pair that was forgotten: %+v", snap.Pair)
	}
}

// Where a person types, or a motor turns the spindle for sweeps, a half turn is taken by hand as well; what cannot be
// is refused.
func TestHalfTurnsOfOtherSources(t *testing.T) {
	typed := newBar(t, AngleRoute{Device: -1, Stations: sweep.StationOptions{AnglesDeg: []float64{0, 90}, Typed: true,
		Indicators: 2}, TypedUnit: units.Millimetre}, "typed")
	run, err := typed.StartHalfTurn(t.Context(), "nod")
	if err != nil {
		t.Fatal(err)
	}
	for i, text := range []string{"1.31", "1.09", "1.29", "1.11"} {
		snap, _ := typed.Snapshot(t.Context())
		if want := []string{"near", "far"}[i%2]; snap.Sweep.Wanted != want ||
			!strings.HasSuffix(snap.Sweep.Say, "type the reading of "+want+".") {
			t.Fatalf("%+v", snap.Sweep)
		}
		if err := typed.Put(t.Context(), run, "", text); err != nil {
			t.Fatal(err)
		}
	}
	if p := typed.wait(t, "the end", func(s *api.Snapshot) bool { return idleNow(s) && s.Pair != nil }).Pair; math.Abs(
		p.ZeroMM-0.2) > 1e-9 {
		t.Errorf("%+v", p)
	}

	o := &sweep.Steady{MarkDeg: 90, TurnsPerMin: 10}
	steady := newBar(t, AngleRoute{Device: -1, Steady: o}, sweep.SourceSteady)
	if run, err = steady.StartHalfTurn(t.Context(), "tilt"); err != nil {
		t.Fatal(err)
	}
	for i, deg := range []float64{0, 180} {
		steady.shows(deg, 0.5, false)
		if err := steady.Take(t.Context(), run); err != nil {
			t.Fatalf("end %d: %v", i, err)
		}
	}
	steady.wait(t, "the end", func(s *api.Snapshot) bool { return idleNow(s) && s.Pair != nil })

	var refused *api.Error
	if _, err := steady.StartHalfTurn(t.Context(), "yaw"); !errors.As(err, &refused) || refused.Kind != api.Invalid {
		t.Errorf("of no axis: %v", err)
	}
	if _, err := newRig(t, 0).StartHalfTurn(t.Context(), "tilt"); !errors.As(err, &refused) ||
		!strings.Contains(refused.Error(), "phase_deg = 180") {
		t.Errorf("of one indicator: %v", err)
	}
}
