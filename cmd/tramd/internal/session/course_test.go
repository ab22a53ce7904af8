package session

import (
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"tramd/cmd/tramd/internal/api"
	"tramd/device"
	"tramd/device/frame"
	"tramd/sweep"
	"tramd/sweep/units"
)

// railRig is a session with an indicator (device 0) and a linear scale (device 1) that the test plays.
type railRig struct {
	*rig
	count int64 // what the scale adds to its counts
	place float64
	fits  chan *Spots
	kept  *shelf
}

func newRailRig(t *testing.T) *railRig {
	t.Helper()
	return newRailRigBy(t, PositionRoute{Source: "scale", Device: 1, Scale: sweep.ScaleOptions{CountsPerMM: 100}})
}

func newRailRigBy(t *testing.T, position PositionRoute) *railRig {
	t.Helper()
	r := &railRig{rig: &rig{at: device.Now()}, count: 5000, fits: make(chan *Spots, 1000), kept: &shelf{}}
	live := func() device.Status { return device.Status{State: device.StateLive} }
	s, err := New(Options{
		Setup: sweep.Setup{Machine: "linnet",
			Indicators: []sweep.Indicator{{Name: "dial", RadiusMM: 120, ResolutionMM: 0.001}}},
		Indicators: []IndicatorRoute{{Device: 0}}, Angle: AngleRoute{Device: -1},
		Position: position,
		Ports:    []Port{{Name: "dial", Status: live}, {Name: "scale", Role: api.PositionRole, Status: live}},
		Idle:     time.Minute, Archive: r.kept, Fit: sweep.FitPlain,
		Measure: func(_ Measurement, pts []sweep.Point, spots *Spots) (Found, error) {
			if len(pts) != len(spots.At) || len(pts) != len(spots.MM) {
				t.Errorf("%d readings, %d places, %d positions", len(pts), len(spots.At), len(spots.MM))
			}
			r.fits <- spots
			return Found{JSON: []byte(`{}`), Model: "none", Version: 1}, nil
		},
	})
	if err != nil {
		t.Fatal(err)
	}
	keepRunning(t, s)
	r.Session = s
	return r
}

// wind plays the carriage going to a place, a reading and a count each tenth of a millimetre.
func (r *railRig) wind(to float64) {
	from := r.place
	n := int(math.Round(10 * math.Abs(to-from)))
	for i := range n + 1 {
		r.place = from + (to-from)*float64(i)/float64(max(1, n))
		r.at += device.Stamp(5 * time.Millisecond)
		z, _ := units.FromMM(0.5 + 1e-3*r.place)
		r.Sink(device.Batch{Device: 0, Samples: []device.Sample{{At: r.at, Kind: frame.Length, Value: int64(z)}}})
		r.Sink(device.Batch{Device: 1,
			Samples: []device.Sample{{At: r.at, Kind: frame.Count, Value: int64(math.Round(100*r.place)) + r.count}}})
	}
}

// thereAndBack are two lines of 20 mm, the first there and back.
func thereAndBack() Measurement {
	leg := func(from, to float64, line float64, follows bool) Leg {
		return Leg{Place: Place{Name: "line", Do: "Set it", Numbers: map[string]float64{"line_mm": line}}, FromMM: from,
			ToMM: to, Follows: follows}
	}
	return Measurement{Kind: "traverse", Subject: "plate", Along: "scale", Own: []byte(`{}`),
		Setup: sweep.Setup{Machine: "linnet",
			Indicators: []sweep.Indicator{{Name: "dial", RadiusMM: 120, ResolutionMM: 0.001}}},
		Legs: []Leg{leg(0, 20, 0, false), leg(20, 0, 0, true), leg(0, 20, 80, false)}}
}

// Lines are taken there and back, taken again, begun at the wrong place, cut short and skipped; the end holds what
// counts.
func TestACourseLegByLeg(t *testing.T) {
	t.Parallel()
	r := newRailRig(t)
	ctx := t.Context()
	run, err := r.StartMeasurement(ctx, thereAndBack(), "check")
	if err != nil {
		t.Fatal(err)
	}
	states := func(want ...string) {
		t.Helper()
		r.wait(t, strings.Join(want, ", "), func(s *api.Snapshot) bool {
			if s.Sweep.Measured == nil {
				return false
			}
			var got []string
			for _, p := range s.Sweep.Measured.Places {
				got = append(got, p.State)
			}
			return slices.Equal(got, want)
		})
	}
	must := func(err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
	}
	refused := func(err error, why string) {
		t.Helper()
		if err == nil || !strings.Contains(err.Error(), why) {
			t.Errorf("got %v, want a refusal that says %q", err, why)
		}
	}
	refused(r.Take(ctx, run), "said nothing yet")
	refused(r.Redo(ctx, run, -1), "nothing has been taken")
	r.wind(0)
	must(r.Take(ctx, run))
	r.wind(5)
	refused(r.Take(ctx, run), "not half")
	must(r.Redo(ctx, run, -1)) // what was read up to 5 mm counts no longer
	refused(r.Take(ctx, run), "move there first")
	r.wind(0)
	must(r.Take(ctx, run))
	r.wind(20)
	states("taken", "here", "ahead")
	r.wind(0) // without a press at 20 mm: the way back follows by itself
	states("taken", "taken", "here")
	must(r.Redo(ctx, run, 1)) // there and back belong together
	states("here", "ahead", "ahead")
	r.wind(0)
	must(r.Take(ctx, run))
	r.wind(20)
	r.wind(0)
	states("taken", "taken", "here")
	must(r.Take(ctx, run))
	r.wind(15)
	snap := r.wait(t, "a curve", func(s *api.Snapshot) bool { return len(s.Sweep.Measured.Curve) > 100 })
	if snap.Sweep.Curve != nil || snap.Sweep.Measured.Act != "end" || math.Abs(*snap.Position.MM-15) > 1e-9 {
		t.Errorf("curve %v, act %q, position %v", snap.Sweep.Curve, snap.Sweep.Measured.Act, *snap.Position.MM)
	}
	must(r.Take(ctx, run)) // it ends here
	r.wait(t, "the end", idleNow)
	var last *Spots
	for len(r.fits) > 0 {
		last = <-r.fits
	}
	byLeg := make([]int, 3)
	for i, at := range last.At {
		byLeg[at]++
		if p := last.Place(i); p.Numbers["position_mm"] != last.MM[i] || at == 2 && p.Numbers["line_mm"] != 80 {
			t.Fatalf("reading %d at %+v", i, p)
		}
	}
	for leg, want := range []int{200, 200, 150} { // ten a millimetre; a few fall where a leg begins or ends
		if got := byLeg[leg]; math.Abs(float64(got-want)) > 4 {
			t.Errorf("%d readings of leg %d, want about %d", got, leg, want)
		}
	}
	if mm := slices.Max(last.MM); math.Abs(mm-20) > 0.2 {
		t.Errorf("positions up to %v mm", mm)
	}
}

// A count that starts over costs the line in hand, there and back, and the person sets the indicator at its beginning.
func TestACourseWhoseScaleStartsOver(t *testing.T) {
	t.Parallel()
	r := newRailRig(t)
	ctx := t.Context()
	run, err := r.StartMeasurement(ctx, thereAndBack(), "check")
	if err != nil {
		t.Fatal(err)
	}
	r.wind(0)
	if err := r.Take(ctx, run); err != nil {
		t.Fatal(err)
	}
	r.wind(20)
	r.wind(12)
	r.count = -700
	r.wind(11)
	snap := r.wait(t, "the loss to be seen", func(s *api.Snapshot) bool {
		return strings.Contains(s.Sweep.Say, "jumped")
	})
	if p := snap.Sweep.Measured.Places; p[0].State != "here" || p[1].State != "ahead" ||
		snap.Sweep.Measured.Act != "begin" || len(snap.Sweep.Measured.Curve) > 0 || snap.Position.MM != nil {
		t.Errorf("%+v, position %v", snap.Sweep.Measured, snap.Position)
	}
	r.wind(0)
	for range 2 {
		if err := r.Take(ctx, run); err != nil {
			t.Fatal(err)
		}
		r.wind(20)
		r.wind(0)
	}
	r.wait(t, "the last line to have ended at 20 mm", idleNow)
}

// An axis that the machine moves is marked where each line begins and ends. What was read in between lies between the
// two by its time, though the feed was said a tenth too small; marks that contradict the feed are refused; and a run
// that is given up keeps what was read, by the feed.
func TestACourseAtConstantFeed(t *testing.T) {
	t.Parallel()
	r := newRailRigBy(t, PositionRoute{Source: "feed", Device: -1, MMPerS: 2})
	ctx := t.Context()
	m := thereAndBack()
	m.Along, m.Legs = "feed", []Leg{m.Legs[0], m.Legs[2]}
	run, err := r.StartMeasurement(ctx, m, "check")
	if err != nil {
		t.Fatal(err)
	}
	clock := 1000.0
	r.locked(func() { r.course().along.(*feeding).now = func() float64 { return clock } })
	send := func(seconds float64) { // ten readings a second
		for range int(math.Round(10 * seconds)) {
			r.locked(func() { clock += 0.1 })
			z, _ := units.FromMM(0.5)
			r.Sink(device.Batch{Device: 0,
				Samples: []device.Sample{{At: device.Stamp(clock * 1e9), Kind: frame.Length, Value: int64(z)}}})
		}
	}
	take := func(why string) {
		t.Helper()
		err := r.Take(ctx, run)
		if why == "" && err != nil || why != "" && (err == nil || !strings.Contains(err.Error(), why)) {
			t.Fatalf("got %v, want %q", err, why)
		}
	}
	take("")
	send(0.5)
	take("after the beginning")
	send(5)
	take("mark") // 20 mm in 5.5 s are 218 mm/min, not 120
	snap := r.wait(t, "a curve", func(s *api.Snapshot) bool { return len(s.Sweep.Measured.Curve) > 50 })
	if say := snap.Sweep.Say; !strings.Contains(say, "passes 20 mm: 11 mm") {
		t.Errorf("on the way it says %q", say)
	}
	send(3.5)
	take("") // 20 mm in 9 s
	r.wait(t, "the next line", func(s *api.Snapshot) bool {
		return s.Sweep.Measured.Places[1].State == "here" && s.Sweep.Readings == 90
	})
	r.locked(func() {
		at := r.job.points.since(0)[0]
		if at[0].Angle < 0.2 || at[0].Angle > 0.25 || math.Abs(at[89].Angle-20) > 1e-6 ||
			math.Abs(at[44].Angle-10) > 1e-6 {
			t.Errorf("positions %v to %v", at[0].Angle, at[89].Angle)
		}
	})
	take("")
	send(4)
	if err := r.Abandon(ctx, run); err != nil {
		t.Fatal(err)
	}
	r.wait(t, "the end", idleNow)
	if n := len(r.kept.points); n != 130 {
		t.Errorf("%d readings stored of 130", n)
	}
}
