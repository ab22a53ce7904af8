package drift

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

func at(day float64) time.Time { return epoch.Add(duration(day)) }

func check(day, tilt, nod, u float64) Check {
	return Check{Time: at(day), Axis: [2]*Value{{tilt, u}, {nod, u}}, Limit: 0.0667, SpindleHours: math.NaN()}
}

// play shows a tracker a history and gives what it said.
func play(t testing.TB, tr *Tracker, checks []Check) []Row {
	t.Helper()
	var out []Row
	for _, c := range checks {
		row, err := tr.Check(c)
		if err != nil {
			t.Fatal(err)
		}
		out = append(out, row)
	}
	return out
}

// What was said of a day must not change because the history went on: any cut of any history gives the same rows.
func TestNothingLaterIsUsed(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		seed := rapid.Uint64().Draw(t, "seed")
		r := rand.New(rand.NewPCG(seed, 1))
		m := machines()[rapid.IntRange(0, len(machines())-1).Draw(t, "machine")]
		h := draw(r, m, 60, 1)
		if rapid.Bool().Draw(t, "warm") {
			air := weather(r)
			for i := range h.checks {
				if c := air(h.days[i]); r.IntN(8) > 0 {
					h.checks[i].TemperatureC = &c
				}
				h.checks[i].Axis[0].U *= 0.5 + r.Float64() // and of uneven uncertainty
			}
		}
		events := map[int]string{20 + r.IntN(20): "adjusted"}
		said := func(n int) []Row {
			tr := New()
			var rows []Row
			for i, c := range h.checks[:n] {
				if kind, ok := events[i]; ok {
					if err := tr.Event(Event{Time: c.Time, Kind: kind}); err != nil {
						t.Fatal(err)
					}
				}
				row, err := tr.Check(c)
				if err != nil {
					t.Fatal(err)
				}
				rows = append(rows, row)
			}
			return rows
		}
		cut := rapid.IntRange(1, 59).Draw(t, "cut")
		if d := cmp.Diff(said(60)[:cut], said(cut)); d != "" {
			t.Fatalf("cut after %d of 60: %s", cut, d)
		}
	})
}

// Turned round, the machine drifts the other way and everything else is the same.
func TestSignsDoNotMatter(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 3))
	h := draw(r, machines()[1], 50, 1)
	var turned []Check
	for _, c := range h.checks {
		turned = append(turned, Check{Time: c.Time, Limit: c.Limit, SpindleHours: c.SpindleHours,
			Axis: [2]*Value{{-c.Axis[0].MMPerM, c.Axis[0].U}, {-c.Axis[1].MMPerM, c.Axis[1].U}}})
	}
	a, b := play(t, New(), h.checks), play(t, New(), turned)
	for i := range a {
		near(t, "level", a[i].Axis[0].Level, -b[i].Axis[0].Level, 1e-12)
		near(t, "u", a[i].Axis[0].U, b[i].Axis[0].U, 1e-12)
		if a[i].Alarm != b[i].Alarm {
			t.Errorf("check %d: %s and %s", i, a[i].Alarm, b[i].Alarm)
		}
	}
}

func TestAnEventStartsAnew(t *testing.T) {
	r := rand.New(rand.NewPCG(4, 4))
	tr := New()
	for day := 0.0; day < 60; day++ {
		y := 0.01
		if day >= 40 {
			y = 0.03 // 4 times the scatter
		}
		if _, err := tr.Check(check(day, y+0.005*r.NormFloat64(), 0, 0.005)); err != nil {
			t.Fatal(err)
		}
	}
	alarms := tr.Alarms()
	if len(alarms) != 1 || alarms[0].Kind != Shift || alarms[0].Axis != "tilt" || !alarms[0].Since.Equal(at(40)) {
		t.Fatalf("got %+v, want a shift of tilt since day 40", alarms)
	}
	near(t, "size", alarms[0].SizeMMPerM, 0.02, 0.005)
	if err := tr.Event(Event{Time: at(59.5), Kind: "note", Text: "swept the floor"}); err != nil {
		t.Fatal(err)
	}
	if len(tr.Alarms()) != 1 {
		t.Error("a note took the alarm away")
	}
	if err := tr.Event(Event{Time: at(60), Kind: "serviced"}); err != nil {
		t.Fatal(err)
	}
	if got := tr.Alarms(); len(got) != 0 {
		t.Errorf("after the event: %+v", got)
	}
	f := tr.Forecast(0.95)
	if f.Next == nil || f.Next.LimitedBy != ByEvent || !f.Next.Time.Equal(at(60)) || f.Outside != nil || f.Why == "" {
		t.Errorf("a date right after an event: %+v", f)
	}
	play(t, tr, []Check{check(61, 0.03, 0, 0.005)})
	if f := tr.Forecast(0.95); f.Next == nil || f.Next.LimitedBy != ByFirst || !f.Next.Time.Equal(at(68)) {
		t.Errorf("a date from one check: %+v", f.Next)
	}
}

// A machine that goes back by itself loses its alarm.
func TestAnAlarmGoesWhenItsReasonIsGone(t *testing.T) {
	r := rand.New(rand.NewPCG(6, 6))
	tr := New()
	var rows []Row
	for day := 0.0; day < 120; day++ {
		y := 0.0
		if day >= 50 && day < 80 {
			y = 0.02
		}
		rows = append(rows, play(t, tr, []Check{check(day, y+0.005*r.NormFloat64(), 0.005*r.NormFloat64(), 0.005)})...)
	}
	for day, row := range rows {
		switch {
		case day >= 55 && day < 80 && row.Alarm != Shift:
			t.Errorf("day %d: %s, want shift", day, row.Alarm)
		case day >= 90 && row.Alarm != None:
			t.Errorf("day %d: %s, want none: it went back on day 80", day, row.Alarm)
		}
	}
}

func TestARampIsATrend(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 7))
	tr := New()
	for day := 0.0; day < 120; day++ {
		y := 0.0
		if day >= 60 {
			y = 0.0005 * (day - 60) // a tenth of the scatter a day
		}
		play(t, tr, []Check{check(day, 0.005*r.NormFloat64(), y+0.005*r.NormFloat64(), 0.005)})
	}
	alarms := tr.Alarms()
	if len(alarms) != 1 || alarms[0].Kind != Trend || alarms[0].Axis != "nod" {
		t.Fatalf("got %+v, want a trend of nod", alarms)
	}
	near(t, "rate", alarms[0].Rate, 0.0005, 0.00015)
	near(t, "since day", days(alarms[0].Since.Sub(epoch)), 60, 20)
	f := tr.Forecast(0.95)
	if f.Next == nil || f.Outside == nil {
		t.Fatalf("no date: %+v", f)
	}
	crosses := at(60 + 0.0667/0.0005) // day 193
	if f.Outside.Low.After(crosses) || f.Outside.High.Before(crosses) {
		t.Errorf("outside %v to %v, truth %v", f.Outside.Low, f.Outside.High, crosses)
	}
	if !f.Next.Time.Before(crosses) {
		t.Errorf("next check %v, after the truth goes outside at %v", f.Next.Time, crosses)
	}
}

func TestOutside(t *testing.T) {
	rows := play(t, New(), []Check{check(0, 0.09, 0, 0.004)})
	if rows[0].Alarm != Outside || rows[0].Alarms[0].Axis != "tilt" {
		t.Errorf("one check far outside: %+v", rows[0].Alarms)
	}
	near(t, "size", rows[0].Alarms[0].SizeMMPerM, 0.09-0.0667, 1e-9)
	rows = play(t, New(), []Check{check(0, 0.07, 0, 0.004)}) // by less than its uncertainty
	if rows[0].Alarm != None {
		t.Errorf("one check by the limit: %+v", rows[0].Alarms)
	}
}

func TestRefusals(t *testing.T) {
	tr := New()
	play(t, tr, []Check{check(1, 0, 0, 0.004)})
	if _, err := tr.Check(check(0, 0, 0, 0.004)); !errors.Is(err, ErrOrder) {
		t.Errorf("out of order: %v", err)
	}
	if err := tr.Event(Event{Time: at(0), Kind: "moved"}); !errors.Is(err, ErrOrder) {
		t.Errorf("event out of order: %v", err)
	}
	for _, bad := range []float64{math.NaN(), math.Inf(1), math.Inf(-1)} {
		if _, err := tr.Check(check(2, bad, 0, 0.004)); err == nil {
			t.Errorf("%v was taken", bad)
		}
	}
	if _, err := tr.Check(check(2, 0, 0, -1)); err == nil {
		t.Error("a negative uncertainty was taken")
	}
}

// Anything that is finite goes through: all at one instant, all the same, huge, tiny, no uncertainty, months apart.
func TestNoHistoryBreaksIt(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		tr := New()
		day := 0.0
		lean := rapid.OneOf(rapid.Just(0.0), rapid.Float64Range(-1, 1), rapid.Float64Range(-1e6, 1e6),
			rapid.Float64Range(-1e-9, 1e-9))
		n := rapid.IntRange(1, 40).Draw(t, "n")
		for range n {
			day += rapid.OneOf(rapid.Just(0.0), rapid.Just(1.0), rapid.Float64Range(0, 1e-4),
				rapid.Float64Range(0, 400)).Draw(t, "gap")
			if rapid.IntRange(0, 15).Draw(t, "event") == 0 {
				if err := tr.Event(Event{Time: at(day), Kind: "crashed"}); err != nil {
					t.Fatal(err)
				}
			}
			c := Check{Time: at(day), Limit: rapid.SampledFrom([]float64{0, 0.0667, 1e-9}).Draw(t, "limit"),
				SpindleHours: math.NaN()}
			for i := range c.Axis {
				if rapid.IntRange(0, 9).Draw(t, "missing") > 0 {
					c.Axis[i] = &Value{lean.Draw(t, "lean"),
						rapid.SampledFrom([]float64{0, math.NaN(), 0.004, 1e-12, 10, 1e-200, 1e-300}).Draw(t, "u")}
				}
			}
			if rapid.Bool().Draw(t, "warm") {
				celsius := rapid.Float64Range(ColdestC, HottestC).Draw(t, "celsius")
				c.TemperatureC = &celsius
			}
			row, err := tr.Check(c)
			if err != nil {
				t.Fatal(err)
			}
			for i, x := range row.Axis {
				if x != nil && (!finite(x.Level) || !finite(x.Rate) || x.U < 0 || math.IsInf(x.U, 0)) {
					t.Fatalf("%s: %+v", Axes[i], *x)
				}
			}
		}
		f := tr.Forecast(0.95)
		if (f.Next == nil || f.Outside == nil) && f.Why == "" {
			t.Fatal("no date and no why")
		}
		if f.Next == nil {
			t.Fatal("no due date")
		}
		if !finite(f.Next.Days) || f.Next.Days < 0 || f.Next.Days > Usual().AtMost || f.Next.borne() &&
			!(f.Next.ChanceOutside >= 0) || f.Next.ChanceOutside > 1 {
			t.Fatalf("%+v", *f.Next)
		}
		if o := f.Outside; o != nil && (o.Low.After(o.Time) || o.High.Before(o.Time)) {
			t.Fatalf("%+v", *o)
		}
	})
}

// Readings, or uncertainties, whose squares are next to nothing do not make what is said of them infinite.
func TestScatterOfNextToNothing(t *testing.T) {
	for _, x := range []struct{ u, second float64 }{{0, 3.7e-155}, {1e-155, 0}, {1e-150, 0}} {
		tr := New()
		for k, y := range []float64{0, 0, x.second, 1, 1, 1} {
			row := play(t, tr, []Check{check(float64(k), y, 0, x.u)})[0]
			if now := row.Axis[0]; !finite(now.Level) || k > 0 && !finite(now.U) {
				t.Errorf("u %v, check %d: %+v", x.u, k, *now)
			}
		}
	}
}

// Nor does a jump of a thousand million times the scatter so far.
func TestAJumpBeyondAllMeasure(t *testing.T) {
	tr := New()
	if err := tr.Event(Event{Time: at(0), Kind: "crashed"}); err != nil {
		t.Fatal(err)
	}
	for k, x := range []struct {
		second int
		y, u   float64
	}{{0, 0, 0}, {0, 0, 0}, {8, 7.450580596923828e-09, 1e-12}, {17, 1e-9, 0}, {25, 1e-9, 1e-12}, {34, 1, 1e-300},
		{34, 1, 0.004}} {
		c := Check{Time: epoch.Add(time.Duration(x.second) * time.Second), SpindleHours: math.NaN(),
			Axis: [2]*Value{{x.y, x.u}}}
		row := play(t, tr, []Check{c})[0]
		if now := row.Axis[0]; !finite(now.Level) || k > 1 && !finite(now.U) {
			t.Errorf("check %d: %+v", k, *now)
		}
	}
}

// Three points give no date further off than they reach back, and more evidence widens it.
func TestDatesWidenWithEvidence(t *testing.T) {
	r := rand.New(rand.NewPCG(9, 9))
	tr := New()
	var before float64
	for n := 1; n <= 60; n++ {
		play(t, tr, []Check{check(float64(n), 0.01+0.003*r.NormFloat64(), 0.003*r.NormFloat64(), 0.003)})
		f := tr.Forecast(0.95)
		if n < 3 {
			if f.Next == nil || f.Next.LimitedBy != ByFirst || f.Why == "" || finite(f.Next.ChanceOutside) {
				t.Errorf("%d checks: %+v", n, f.Next)
			}
			continue
		}
		if f.Next == nil {
			t.Fatalf("%d checks: %s", n, f.Why)
		}
		if n == 3 && f.Next.Days > 2 {
			t.Errorf("three checks over two days say %.1f days", f.Next.Days)
		}
		if n%20 == 0 {
			if f.Next.Days <= before {
				t.Errorf("%d checks: %.1f days, earlier %.1f", n, f.Next.Days, before)
			}
			before = f.Next.Days
		}
	}
}

// Readings that repeat themselves to the last digit, then move by that digit: nothing happened.
func TestARepeatedReadingIsNoAlarm(t *testing.T) {
	tr := New()
	for day := 0.0; day < 60; day++ {
		tilt := 0.0123
		if day >= 50 {
			tilt = 0.0124
		}
		if row := play(t, tr, []Check{check(day, tilt, -0.02, 0.004)})[0]; row.Alarm != None {
			t.Fatalf("day %.0f: %+v", day, row.Alarms)
		}
	}
	// But a step of several u is one, at once.
	rows := play(t, tr, []Check{check(60, 0.04, -0.02, 0.004), check(61, 0.04, -0.02, 0.004)})
	if rows[1].Alarm != Shift {
		t.Errorf("%+v", rows[1])
	}
}

// What was thinned is drawn as it would have been, but for a check here and there, and counted in full.
func TestThinnedHistoryIsDrawnAlike(t *testing.T) {
	h := &History{}
	for _, c := range hourly(3000) {
		h.Entries = append(h.Entries, Entry{Check: &c})
	}
	h.Entries[1000].Check.Axis[0].MMPerM = 0.5 // one peak
	a, err := Work(h, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	a.Rows = h.Thin(a.Rows, 400)
	if len(a.Rows) > 600 || len(h.Entries) != len(a.Rows) {
		t.Fatalf("%d rows, %d entries", len(a.Rows), len(h.Entries))
	}
	v := a.View(h, 100, 0.95)
	highest := 0.0
	for i, e := range h.Entries {
		if !e.Check.Time.Equal(a.Rows[i].Time) {
			t.Fatalf("row %d belongs to another check", i)
		}
	}
	for _, c := range v.Checks {
		highest = max(highest, c.Measured["tilt"].MMPerM)
	}
	if v.Total != 3000 || highest != 0.5 || v.Checks[0].Time != stamp(at(0)) ||
		v.Checks[len(v.Checks)-1].Time != stamp(epoch.Add(2999*time.Hour)) {
		t.Errorf("total %d, peak %v, %s to %s", v.Total, highest, v.Checks[0].Time, v.Checks[len(v.Checks)-1].Time)
	}
}

// An alarm of the tilt marks the tilt's chart and not the nod's.
func TestAnAlarmMarksItsOwnAxis(t *testing.T) {
	h := &History{}
	for _, c := range hourly(60) {
		if c.Time.After(epoch.Add(39 * time.Hour)) {
			c.Axis[0].MMPerM += 0.5
		}
		h.Entries = append(h.Entries, Entry{Check: &c})
	}
	a, err := Work(h, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	v := a.View(h, 100, 0.95)
	last := v.Checks[len(v.Checks)-1]
	if last.Alarm == None || last.Alarms["tilt"] != last.Alarm || last.Alarms["nod"] != None {
		t.Errorf("%s: %v", last.Alarm, last.Alarms)
	}
}
