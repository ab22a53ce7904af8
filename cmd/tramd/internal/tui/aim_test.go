package tui

import (
	"math"
	"strings"
	"testing"
	"time"

	"tramd/cmd/tramd/internal/api"
	"tramd/cmd/tramd/internal/display"
)

// rail is what an indicator reads at either end of a rail that turns about its middle.
type rail struct{ slope, up float64 } // mm over the whole length, mm

func (r rail) near() float64 { return r.up - r.slope/2 }
func (r rail) far() float64  { return r.up + r.slope/2 }

// A rail that turns about its middle changes by twice what its far end does. The first round cannot know that and goes
// too far; the second ends it. The figure, its sign and its word follow the indicator, and so does the bell.
func TestAnAimAtAJointInTheTerminal(t *testing.T) {
	t.Parallel()
	zero := 0.0
	a := newAiming(api.JointAim{Adjuster: "bolts", By: -0.08, Indicator: "lever", Near: "0 mm", Far: "500 mm",
		NowMM: &zero, TargetMM: &zero, ChangeMM: -0.2, Say: "Read, park, move."})
	reads := func(mm float64) {
		a.see(&api.Snapshot{Devices: []api.DeviceState{{Name: "lever", State: "live", ReadingMM: &mm}}})
	}
	view := func() string { return aimView(a, 60, display.Units{}) }
	a.see(&api.Snapshot{Devices: []api.DeviceState{{Name: "lever", State: "silent"}}})
	a.next()
	if a.step != aimNear || !strings.Contains(view(), "gives no reading") {
		t.Errorf("an end was read without a reading: %s", view())
	}
	r := rail{slope: 0.2, up: 0.3}
	round := func(whole float64) {
		t.Helper()
		for _, at := range []func() float64{r.near, r.far} {
			if a.step == aimNear || a.step == aimPark {
				reads(at())
				a.next()
			}
		}
		reads(r.far())
		if math.Abs(a.toGo()-whole) > 1e-9 || a.there() {
			t.Fatalf("%v to go, want %v", a.toGo(), whole)
		}
		if far := a.bellAfter(); !strings.Contains(view(), map[bool]string{true: "up", false: "down"}[whole > 0]) ||
			far < 500*time.Millisecond {
			t.Errorf("far off: bell after %v, %s", far, view())
		}
		before := a.bellAfter()
		r.slope += whole // half of it at each end
		reads(r.far())
		if math.Abs(a.toGo()-whole/2) > 1e-9 || a.bellAfter() >= before {
			t.Errorf("half way: %v to go, bell after %v", a.toGo(), a.bellAfter())
		}
		r.slope += whole
		reads(r.far() + whole/4)
		if a.bellAfter() != time.Second {
			t.Errorf("passed: bell after %v", a.bellAfter())
		}
		reads(r.far())
		if !a.there() || !strings.Contains(view(), "there") || a.bellAfter() > 100*time.Millisecond {
			t.Errorf("there: %s", view())
		}
		a.next()
		a.next()
		reads(r.near())
		a.next()
	}
	round(-0.2)
	if a.step != aimDone || !strings.Contains(view(), "Press a to aim once more") || math.Abs(a.share-2) > 1e-9 {
		t.Fatalf("after the first round: %+v", a)
	}
	a.once()
	reads(r.far())
	a.next()
	round(0.1)
	if strings.Contains(view(), "once more") || !strings.Contains(view(), "Press l to log bolts by -0.080") ||
		math.Abs(r.slope) > 1e-9 {
		t.Errorf("after the second: %v, %s", r.slope, view())
	}
}

// The own lean of a bar is in what it shows, so its aim is a change.
func TestAnAimByChange(t *testing.T) {
	t.Parallel()
	a := newAiming(api.JointAim{Adjuster: "swing", By: 0.1, Indicator: "lever", Near: "0 mm, side 0°",
		Far: "80 mm, side 0°", ChangeMM: 0.06})
	for _, mm := range []float64{0.1, 0.35, 0.38, 0.38, 0.1} {
		a.see(&api.Snapshot{Devices: []api.DeviceState{{Name: "lever", State: "live", ReadingMM: &mm}}})
		a.next()
	}
	if a.step != aimDone || math.Abs(a.done-0.03) > 1e-9 || math.Abs(a.moved()-0.05) > 1e-9 ||
		!strings.Contains(a.says, "changed by +0.0300 mm") {
		t.Errorf("%+v", a)
	}
	a.once()
	a.next() // parked where the last round ended: the reading is the near end's, so what is left is to go from there
	if a.reading = ptr(0.1); math.Abs(a.toGo()-0.03) > 1e-9 {
		t.Errorf("%v is left", a.toGo())
	}
}

// Where a scale shows the indicator elsewhere, or the reading goes fast, Enter takes nothing and the screen says why.
func TestAnAimWaitsForThePlaceAndForAStillReading(t *testing.T) {
	t.Parallel()
	a := newAiming(api.JointAim{Adjuster: "bolts", By: -0.08, Indicator: "lever", Near: "0 mm", Far: "500 mm",
		FarMM: 500, Scale: true, NowMM: ptr(0.2), TargetMM: ptr(0), ChangeMM: -0.2})
	at := func(mm, place, rate float64) {
		a.see(&api.Snapshot{Position: &api.PositionState{MM: &place}, Devices: []api.DeviceState{
			{Name: "lever", State: "live", ReadingMM: &mm, RateMMPerS: &rate}}})
	}
	refused := func(want string) {
		t.Helper()
		before := a.step
		a.next()
		if view := aimView(a, 60, display.Units{}); a.step != before || !strings.Contains(view, want) ||
			a.bellAfter() != 0 {
			t.Errorf("step %d after %d, bell after %v: %s", a.step, before, a.bellAfter(), view)
		}
	}
	at(0.1, 3.5, 0)
	refused("The scale shows 3.5 mm. Go to 0 mm.")
	at(0.1, 1.9, 0.05)
	refused("It moves. Enter takes it when it lies still.")
	at(0.1, 1.9, 0.005)
	a.next()
	refused("The scale shows 1.9 mm. Go to 500 mm.")
	at(0.3, 500, 0)
	a.next()
	at(0.1, 300, 0)
	if a.step != aimMove || !math.IsNaN(a.toGo()) || a.there() {
		t.Errorf("step %d, %v to go", a.step, a.toGo())
	}
	refused("The scale shows 300.0 mm. Go to 500 mm.")
	at(0.1, 500, 0.05) // a hand moves it
	a.next()
	refused("It moves.")
	at(0.1, 500, 0)
	a.next()
	refused("The scale shows 500.0 mm. Go to 0 mm.")
	at(0.1, 0, 0)
	if a.next(); a.step != aimDone || math.Abs(a.moved()+0.08) > 1e-9 {
		t.Errorf("step %d, moved %v", a.step, a.moved())
	}
	a.aim.Scale = false // it lies along another axis
	a.once()
	if at(0.1, 3.5, 0); a.away() != "" {
		t.Errorf("a scale of another axis is asked: %s", a.away())
	}
}

func ptr(x float64) *float64 { return &x }
