package drift

import (
	"math"
	"strings"
	"testing"
	"time"
)

// There is a due date for whatever a record holds, and each says its reason.
func TestADueDateAlways(t *testing.T) {
	quiet := func(n int) []Check {
		var out []Check
		for k := range n {
			out = append(out, check(float64(k), 0.01+0.002*float64(k*5%7-3), -0.01, 0.004))
		}
		return out
	}
	for _, x := range []struct {
		name   string
		checks []Check
		event  float64 // day of an adjustment after them; 0: none
		plan   Plan
		reason Reason
		day    float64
		says   string
	}{
		{name: "an event alone", event: 3, reason: ByEvent, day: 3, says: "due now"},
		{name: "one check", checks: quiet(1), reason: ByFirst, day: 7, says: "the first interval, 7 days"},
		{name: "two checks", checks: quiet(2), plan: Plan{First: 3}, reason: ByFirst, day: 4,
			says: "the first interval, 3 days"},
		{name: "first is no longer than at most", checks: quiet(2), plan: Plan{First: 30, AtMost: 14},
			reason: ByFirst, day: 15},
		{name: "many checks in one sitting", checks: []Check{check(0, 0.01, 0, 0.004), check(0.01, 0.05, 0, 0.004),
			check(0.02, 0.01, 0, 0.004), check(0.03, 0.01, 0, 0.004)},
			reason: ByFirst, day: 7.03},
		{name: "one check outside", checks: []Check{check(2, 0.2, 0, 0.004)}, reason: ByOutside, day: 2,
			says: "outside its tolerance: due now"},
		{name: "one check by the limit", checks: []Check{check(2, 0.066, 0, 0.004)}, reason: ByRisk, day: 2,
			says: "due now"},
		{name: "an adjustment after many", checks: quiet(30), event: 40, reason: ByEvent, day: 40},
		{name: "a quiet record", checks: quiet(60), plan: Plan{AtMost: 30}, reason: ByAtMost, day: 89,
			says: "after 30 days at most"},
	} {
		tr := New()
		tr.Plan = x.plan
		play(t, tr, x.checks)
		if x.event > 0 {
			if err := tr.Event(Event{Time: at(x.event), Kind: "adjusted"}); err != nil {
				t.Fatal(err)
			}
		}
		n := tr.Forecast(0.95).Next
		if n == nil {
			t.Errorf("%s: no due date", x.name)
			continue
		}
		if n.LimitedBy != x.reason || math.Abs(days(n.Time.Sub(at(x.day)))) > 1e-4 ||
			!strings.Contains(n.Basis(0.95), x.says) {
			t.Errorf("%s: due %v (%s: %s), want %v (%s)", x.name, n.Time, n.LimitedBy, n.Basis(0.95),
				at(x.day), x.reason)
		}
	}
	if n := New().Forecast(0.95).Next; n != nil {
		t.Errorf("nothing at all: %+v", n)
	}
}

// A clock that jumps a year makes no long record: what happened in that time is not known.
func TestAClockThatJumpsAYear(t *testing.T) {
	tr := New()
	for k := range 12 {
		day := float64(k)
		if k >= 6 {
			day += 365
		}
		play(t, tr, []Check{check(day, 0.01+0.002*float64(k*5%7-3), -0.01, 0.004)})
	}
	if n := tr.Forecast(0.95).Next; n == nil || n.Days > 4*(10+longGap) {
		t.Errorf("ten days of checks and a jump: %+v", n)
	}
}

// Files imported at nearly one instant raise no rate a day.
func TestNoRateAcrossAnInstant(t *testing.T) {
	tr := New()
	var last Row
	for k := range 40 {
		c := check(0, 0.01+0.004*float64(k), -0.01, 0.004)
		c.Time = epoch.Add(time.Duration(k) * 100 * time.Millisecond)
		last = play(t, tr, []Check{c})[0]
		for _, a := range last.Alarms {
			if a.Kind == Trend || a.Rate != 0 {
				t.Fatalf("check %d: %+v", k, a)
			}
		}
		if r := last.Axis[0].Rate; math.Abs(r) > 0.05 {
			t.Fatalf("check %d: %v mm/m per day", k, r)
		}
	}
}
