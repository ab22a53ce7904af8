package session

import (
	"errors"
	"math"
	"strings"
	"testing"
	"time"

	"tramd/cmd/tramd/internal/api"
	"tramd/device"
	"tramd/device/frame"
	"tramd/sweep"
	"tramd/sweep/units"
)

// stationRig is a running session by stations with an indicator (device 0) and a foot switch (device 1) that the test
// plays.
func stationRig(t *testing.T, o sweep.StationOptions) *rig {
	t.Helper()
	sh := &shelf{}
	live := func() device.Status { return device.Status{State: device.StateLive} }
	settling := func() device.Status { return device.Status{State: device.StateAbsent} }
	source := "stations"
	if o.Typed {
		source = "typed"
	}
	s, err := New(Options{
		Setup: sweep.Setup{Machine: "wren", AngleSource: source, StationsDeg: o.AnglesDeg,
			Indicators: []sweep.Indicator{{Name: "lever", RadiusMM: 120, ResolutionMM: 0.001}}},
		Indicators: []IndicatorRoute{{Device: 0}},
		Angle:      AngleRoute{Device: -1, Stations: o, TypedUnit: units.Millimetre},
		Ports:      []Port{{Name: "lever", Status: live}, {Name: "trigger", Role: api.TriggerRole, Status: settling}},
		Archive:    sh, Fit: sweep.FitPlain,
	})
	if err != nil {
		t.Fatal(err)
	}
	keepRunning(t, s)
	return &rig{Session: s, shelf: sh, at: device.Now()}
}

// hold has the indicator show one height for n readings, 50 ms apart.
func (r *rig) hold(n int, mm float64) {
	z, _ := units.FromMM(mm) // well inside an indicator's travel
	for range n {
		r.at += device.Stamp(50 * time.Millisecond)
		r.Sink(device.Batch{Device: 0, Samples: []device.Sample{{At: r.at, Kind: frame.Length, Value: int64(z)}}})
	}
}

func (r *rig) press() {
	r.at += device.Stamp(50 * time.Millisecond)
	r.Sink(device.Batch{Device: 1, Samples: []device.Sample{{At: r.at, Kind: frame.Pulse}}})
}

func heightAt(deg float64) float64 {
	th := sweep.Radians(deg)
	return 1 + 120*(rigTilt*math.Cos(th)+rigNod*math.Sin(th))
}

func (r *rig) states(t *testing.T) (out []string) {
	t.Helper()
	snap, err := r.Snapshot(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	for _, s := range snap.Sweep.Stations {
		out = append(out, s.State)
	}
	return out
}

func checkRig(t *testing.T, snap *api.Snapshot) {
	t.Helper()
	if snap.Last == nil {
		t.Fatal("no result")
	}
	got := snap.Last.Result
	if math.Abs(float64(got.Tilt.Slope)-rigTilt) > 1e-8 || math.Abs(float64(got.Nod.Slope)-rigNod) > 1e-8 {
		t.Errorf("tilt %v nod %v", got.Tilt.Slope, got.Nod.Slope)
	}
}

func TestAFootSwitchTakesTheStation(t *testing.T) {
	r := stationRig(t, sweep.StationOptions{AnglesDeg: []float64{0, 90, 180, 270}, SettleS: 0.5})
	r.press() // nothing is in hand
	r.at += device.Stamp(time.Second)
	if _, err := r.Start(t.Context(), 1, "check"); err != nil {
		t.Fatal(err)
	}
	for i, deg := range []float64{0, 90, 180, 270} {
		r.hold(5, heightAt(deg)) // not long enough to settle by itself
		r.press()
		r.press() // its contacts bounce
		if i == 0 {
			if got := r.states(t); got[0] != "taken" || got[1] != "here" {
				t.Fatalf("after the first press: %v", got)
			}
		}
		r.at += device.Stamp(time.Second)
	}
	checkRig(t, r.wait(t, "the end", idleNow))
}

func TestAStationTakenAgainReplacesTheFirst(t *testing.T) {
	r := stationRig(t, sweep.StationOptions{AnglesDeg: []float64{0, 60, 120, 180, 240}, SettleS: 0.5})
	run, err := r.Start(t.Context(), 1, "check")
	if err != nil {
		t.Fatal(err)
	}
	r.hold(20, heightAt(0))
	r.hold(20, heightAt(60)+0.08) // a chip under the stylus
	if err := r.Redo(t.Context(), run, -1); err != nil {
		t.Fatal(err)
	}
	r.hold(20, heightAt(60))
	r.hold(20, heightAt(120))
	if err := r.Skip(t.Context(), run); err != nil { // 180 lies over a slot
		t.Fatal(err)
	}
	if got := r.states(t); got[3] != "skipped" || got[4] != "here" {
		t.Errorf("%v", got)
	}
	r.hold(20, heightAt(240))
	snap := r.wait(t, "the end", idleNow)
	checkRig(t, snap)
	if n := snap.Last.Result.Readings; n != 4 || len(r.shelf.points) != 5 || len(r.shelf.doubts) != 1 {
		t.Errorf("%d readings fitted, %d stored, doubts %+v", n, len(r.shelf.points), r.shelf.doubts)
	}
	if left := sweep.Believed(r.shelf.points, r.shelf.doubts); !math.IsNaN(left[1].Angle) || math.IsNaN(left[2].Angle) {
		t.Errorf("what the store would give: %+v", left)
	}
}

func TestReadingsAreTyped(t *testing.T) {
	r := stationRig(t, sweep.StationOptions{AnglesDeg: []float64{0, 90, 180, 270}, Closing: true, Typed: true})
	run, err := r.Start(t.Context(), 1, "check")
	if err != nil {
		t.Fatal(err)
	}
	snap, err := r.Snapshot(t.Context())
	if err != nil || snap.Sweep.Wanted != "lever" || snap.Sweep.Say == "" {
		t.Errorf("%+v %v", snap.Sweep, err)
	}
	var refused *api.Error
	for _, bad := range []struct {
		indicator, text string
		status          int
	}{{"", "half a tenth", 400}, {"", "3 furlongs", 400}, {"", "12 m 3", 400}, {"", "99999 m", 400},
		{"dial", "0.1", 400}, {"", "", 400}} {
		if err := r.Put(t.Context(), run, bad.indicator, bad.text); !errors.As(err, &refused) ||
			refused.Kind.Status() != bad.status {
			t.Errorf("%+v: %v", bad, err)
		}
	}
	if err := r.Take(t.Context(), run); !errors.As(err, &refused) || refused.Kind != api.Conflict {
		t.Errorf("taking what is typed: %v", err)
	}
	// 0: 1.048, 90: 0.976, 180: 0.952, 270: 1.024
	for _, text := range []string{"1,048", "976 um", "9.52", "u", "0.952 mm", "1.024", "1.048"} {
		if text == "u" {
			err = r.Redo(t.Context(), run, -1)
		} else {
			err = r.Put(t.Context(), run, "", text)
		}
		if err != nil {
			t.Fatalf("%s: %v", text, err)
		}
	}
	snap = r.wait(t, "the end", idleNow)
	got := snap.Last.Result
	if math.Abs(float64(got.Tilt.Slope)-rigTilt) > 1e-8 || math.Abs(float64(got.Nod.Slope)-rigNod) > 1e-8 ||
		got.Readings != 5 {
		t.Errorf("tilt %v nod %v of %d", got.Tilt.Slope, got.Nod.Slope, got.Readings)
	}
	if err := r.Put(t.Context(), run, "", "1"); !errors.As(err, &refused) || refused.Kind != api.NotFound {
		t.Errorf("after the end: %v", err)
	}
}

func TestThePersonIsToldWhenAReadingDoesNotSettle(t *testing.T) {
	r := stationRig(t, sweep.StationOptions{AnglesDeg: []float64{0, 180}})
	if _, err := r.Start(t.Context(), 1, "check"); err != nil {
		t.Fatal(err)
	}
	for i := range 200 {
		r.hold(1, 1+0.05*math.Sin(float64(i)))
	}
	snap, err := r.Snapshot(t.Context())
	if err != nil || snap.Sweep.Readings != 0 {
		t.Fatalf("%+v %v", snap.Sweep, err)
	}
	if want := "does not lie still (0.100 mm to and fro)"; !strings.Contains(snap.Sweep.Say, want) {
		t.Errorf("it said %q", snap.Sweep.Say)
	}
}

// A key pressed before the arm was turned would give one place's reading to the next.
func TestAStationThatNothingStirredForIsAskedForTwice(t *testing.T) {
	r := stationRig(t, sweep.StationOptions{AnglesDeg: []float64{0, 90, 180}, SettleS: 0.5})
	run, err := r.Start(t.Context(), 1, "check")
	if err != nil {
		t.Fatal(err)
	}
	r.hold(20, heightAt(0))
	r.hold(5, heightAt(0))
	var refused *api.Error
	for range 2 { // the second comes as soon as contacts bounce
		if err := r.Take(t.Context(), run); !errors.As(err, &refused) || refused.Kind != api.Conflict ||
			!strings.Contains(err.Error(), "once more") {
			t.Fatalf("taken where nothing stirred: %v", err)
		}
	}
	snap, err := r.Snapshot(t.Context())
	if err != nil || !strings.Contains(snap.Sweep.Say, "Nothing has stirred") ||
		snap.Sweep.Stations[1].State != "here" {
		t.Errorf("%v %+v", err, snap.Sweep)
	}
	time.Sleep(450 * time.Millisecond)
	if err := r.Take(t.Context(), run); err != nil { // the table is flat, and the person knows it
		t.Errorf("asked twice: %v", err)
	}
	r.hold(5, heightAt(180))
	if err := r.Take(t.Context(), run); err != nil {
		t.Errorf("turned: %v", err)
	}
	r.wait(t, "the end", idleNow)
}
