package unattended

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"tramd/cmd/tramd/internal/schedule"
)

var (
	monday = time.Date(2026, 3, 2, 5, 59, 0, 0, time.UTC)
	six    = schedule.Plan{Times: []schedule.Minute{360}}
)

// plan is one in which all conditions count.
func plan() Plan {
	return Plan{When: Always, Moves: true, Retry: true, RetryAfter: 5 * time.Minute, WarmUp: 2 * time.Minute,
		Patience: 10 * time.Minute,
		StillMM:  0.005, MinMM: 0.1, MaxMM: 0.9}
}

// shop is what the checker looks at, and what happens to a check that it begins.
type shop struct {
	t     *testing.T
	c     *Checker
	f     Facts
	begun int
	ends  []Taking      // how each check ends, one after the other
	step  time.Duration // between two looks
	after time.Duration // its beginning a check ends
	endAt time.Time
	said  []string
	wrong func(s *shop) // tried at each second
}

func newShop(t *testing.T, p Plan) *shop {
	return &shop{t: t, c: New(p, six, monday.Add(-23*time.Hour)), step: time.Second, after: time.Minute,
		ends: []Taking{{Run: 7, OK: true}},
		f: Facts{Now: monday, ClockSet: true, ArmedUntil: monday.Add(12 * time.Hour),
			Gauges: []Gauge{{Name: "arm", Live: true, MM: 0.5, SpanMM: 0.001}}}}
}

// run steps through some time and gives what was done, one word and the rest of the text each.
func (s *shop) run(d time.Duration) []string {
	for end := s.f.Now.Add(d); s.f.Now.Before(end); s.f.Now = s.f.Now.Add(s.step) {
		if s.wrong != nil {
			s.wrong(s)
		}
		if s.f.Taking != nil && !s.f.Now.Before(s.endAt) {
			end := s.ends[min(s.begun-1, len(s.ends)-1)]
			end.Ended = true
			s.f.Taking = &end
		}
		taken := s.f.Taking != nil && s.f.Taking.Ended
		for _, a := range s.c.Step(s.f) {
			s.said = append(s.said, fmt.Sprintf("%s %s: %s", s.f.Now.Format("15:04:05"), a.Do, a.Text))
			switch a.Do {
			case Begin:
				s.begun++
				s.f.Taking = &Taking{Run: 7}
				s.endAt = s.f.Now.Add(s.after)
			}
		}
		if taken {
			s.f.Taking = nil
		}
	}
	return s.said
}

// want holds the acts against what they should begin with, in order.
func want(t *testing.T, got []string, want ...string) {
	t.Helper()
	ok := len(got) == len(want)
	for i := range want {
		ok = ok && strings.HasPrefix(got[i], want[i])
	}
	if !ok {
		t.Errorf("got\n  %s\nwant\n  %s", strings.Join(got, "\n  "), strings.Join(want, "\n  "))
	}
}

func TestAnOrdinaryCheck(t *testing.T) {
	s := newShop(t, plan())
	want(t, s.run(20*time.Minute),
		"06:00:00 note: the check of 2026-03-02 06:00 is due",
		"06:00:00 note: all conditions hold; they must for 2m0s",
		"06:02:00 begin: ",
		"06:03:00 done: the check of 2026-03-02 06:00 is run 7")
	next, ok := s.c.Next(s.f.Now)
	if !ok || !next.Equal(time.Date(2026, 3, 3, 6, 0, 0, 0, time.UTC)) {
		t.Errorf("next at %v, %v", next, ok)
	}
}

// Each condition that does not hold keeps the check from being begun, and is named.
func TestEachConditionHoldsItBack(t *testing.T) {
	for name, tc := range map[string]struct {
		spoil func(f *Facts)
		says  string
		final bool
	}{
		"barred for good": {func(f *Facts) { f.Barred = Bar{"it is not armed: tramd arm", true} },
			"it is not armed", true},
		"barred for now": {func(f *Facts) { f.Barred = Bar{Why: "the machine does not say that it is idle"} },
			"does not say that it is idle", false},
		"a sweep by hand":      {func(f *Facts) { f.Busy = "run 6 is being taken" }, "run 6 is being taken", false},
		"silent":               {func(f *Facts) { f.Gauges[0].Live = false }, "indicator arm sends nothing", false},
		"below its travel":     {func(f *Facts) { f.Gauges[0].MM = 0.05 }, "outside its travel: 0.050 mm", false},
		"above its travel":     {func(f *Facts) { f.Gauges[0].MM = 0.95 }, "outside its travel: 0.9", false},
		"no number":            {func(f *Facts) { f.Gauges[0].MM = nan() }, "outside its travel", false},
		"no word of stillness": {func(f *Facts) { f.Gauges[0].SpanMM = nan() }, "not still", false},
		"not still": {func(f *Facts) { f.Gauges[0].SpanMM = 0.02 }, "not still: it wandered by 0.020 mm",
			false},
		"the second one": {func(f *Facts) { f.Gauges = append(f.Gauges, Gauge{Name: "column"}) },
			"indicator column sends nothing", false},
		"none": {func(f *Facts) { f.Gauges = nil }, "there is no indicator", true},
	} {
		t.Run(name, func(t *testing.T) {
			s := newShop(t, plan())
			s.wrong = func(s *shop) {
				g := slices.Clone(s.f.Gauges[:min(1, len(s.f.Gauges))])
				s.f.Gauges = g
				tc.spoil(&s.f)
				if len(s.f.Gauges) > 0 && s.f.Gauges[0].MM > 0.9 {
					s.f.Gauges[0].MM += float64(s.f.Now.Second()) * 1e-3 // the figure changes
				}
			}
			got := s.run(30 * time.Minute)
			if s.begun != 0 {
				t.Fatalf("it was begun:\n%s", strings.Join(got, "\n"))
			}
			if len(got) > 3 {
				t.Errorf("it says the same thing again and again:\n%s", strings.Join(got, "\n"))
			}
			last := got[len(got)-1]
			at := "06:10:00"
			if tc.final {
				at = "06:00:00"
			}
			if !strings.HasPrefix(last, at+" gaveup: the check of 2026-03-02 06:00 was not begun: ") ||
				!strings.Contains(last, tc.says) {
				t.Errorf("it said %q, want at %s: %q", last, at, tc.says)
			}
		})
	}
}

func nan() float64 { z := 0.0; return z / z }

func TestWhatDoesNotHoldIsWaitedForAndTheWarmUpBeginsAnew(t *testing.T) {
	s := newShop(t, plan())
	s.wrong = func(s *shop) {
		since := s.f.Now.Sub(monday.Add(time.Minute))
		s.f.Barred = Bar{Why: map[bool]string{
			true: "the machine does not say that it is idle: no answer"}[since < 3*time.Minute]}
		s.f.Gauges[0].SpanMM = map[bool]float64{true: 0.1, false: 0.001}[since >= 4*time.Minute &&
			since < 4*time.Minute+10*time.Second]
	}
	want(t, s.run(20*time.Minute),
		"06:00:00 note: the check",
		"06:00:00 note: waiting: the machine does not say that it is idle: no answer",
		"06:03:00 note: all conditions hold",
		"06:04:00 note: waiting: indicator arm is not still",
		"06:04:10 note: all conditions hold",
		"06:06:10 begin",
		"06:07:10 done")
}

func TestOneMoreTry(t *testing.T) {
	s := newShop(t, plan())
	s.ends = []Taking{{Why: "cannot be fitted"}, {Run: 8, OK: true}}
	want(t, s.run(30*time.Minute), "06:00:00 note", "06:00:00 note", "06:02:00 begin",
		"06:03:00 note: the check of 2026-03-02 06:00 failed: cannot be fitted; once more in 5m0s",
		"06:08:00 note: trying", "06:08:01 note: all conditions hold", "06:10:01 begin",
		"06:11:01 done: the check of 2026-03-02 06:00 is run 8")

	s = newShop(t, plan())
	s.ends = []Taking{{Why: "cannot be fitted"}, {Why: "nothing moved"}}
	got := s.run(3 * time.Hour)
	if s.begun != 2 || !strings.Contains(got[len(got)-1],
		"gaveup: the check of 2026-03-02 06:00 failed: nothing moved") {
		t.Errorf("begun %d times:\n%s", s.begun, strings.Join(got, "\n"))
	}

	s = newShop(t, plan())
	s.ends = []Taking{{Why: "the controller's answer was late", Hazard: true}}
	got = s.run(3 * time.Hour)
	if s.begun != 1 || !strings.Contains(got[len(got)-1], "gaveup") {
		t.Errorf("after a danger begun %d times:\n%s", s.begun, strings.Join(got, "\n"))
	}
}

func TestThePowerComesBack(t *testing.T) {
	s := newShop(t, plan())
	s.f.Now = monday.Add(2 * time.Hour)
	want(t, s.run(10*time.Minute), "07:59:00 missed: the check of 2026-03-02 06:00 was missed: tramd was not ready")

	s = newShop(t, plan()) // a month later
	s.f.Now = monday.Add(30 * 24 * time.Hour)
	want(t, s.run(30*time.Second),
		"05:59:00 missed: 30 checks were missed, from 2026-03-02 06:00 to 2026-03-31 06:00: tramd was not ready")

	s = newShop(t, plan()) // before the network is there: the time of day is a guess
	s.f.ClockSet = false
	s.wrong = func(s *shop) {
		if s.f.Now.Sub(monday) > 2*time.Minute && !s.f.ClockSet { // it was not really one minute to six
			s.f.ClockSet, s.f.Now = true, monday.Add(5*time.Hour)
		}
	}
	got := s.run(10 * time.Hour)
	if s.begun != 0 || len(got) != 1 || !strings.Contains(got[0], "missed: the check of 2026-03-02 06:00") {
		t.Errorf("begun %d times:\n%s", s.begun, strings.Join(got, "\n"))
	}
}

// The clock is stepped about while a check is prepared, taken and waited for: it is begun once a slot, at most.
func TestStepsOfTheClock(t *testing.T) {
	for _, at := range []time.Duration{30 * time.Second, 90 * time.Second, 200 * time.Second, 250 * time.Second} {
		for _, by := range []time.Duration{-2 * time.Hour, -time.Hour, -30 * time.Second, 30 * time.Second,
			3 * time.Minute, time.Hour, 26 * time.Hour} {
			s := newShop(t, plan())
			s.f.ArmedUntil = monday.Add(100 * time.Hour)
			stepped := false
			began := map[string]int{}
			s.wrong = func(s *shop) {
				if !stepped && s.f.Now.Sub(monday) >= at {
					stepped = true
					s.f.Now = s.f.Now.Add(by)
					s.endAt = s.endAt.Add(by) // the check itself goes by the clock that is never set
				}
			}
			for hour := range 30 {
				if hour == 4 {
					s.step = time.Minute // the rest of the day is for slots that come again
				}
				n := s.begun
				s.run(time.Hour)
				if s.begun > n {
					began[s.c.slot.Name] += s.begun - n
				}
			}
			for name, n := range began {
				if n > 1 {
					t.Errorf("stepped by %v after %v: %s was begun %d times", by, at, name, n)
				}
			}
			if len(began) == 0 {
				t.Errorf("stepped by %v after %v: no check was begun at all:\n%s", by, at, strings.Join(s.said, "\n"))
			}
			if s.c.state == taking {
				t.Errorf("stepped by %v after %v: still %s", by, at, s.c.state)
			}
		}
	}
}

func TestOnlyWhenDue(t *testing.T) {
	p := plan()
	p.When, p.Hours = WhenDue, 8
	for name, tc := range map[string]struct {
		next  time.Duration // from the slot; 0: not known
		hours float64       // <0: not known
		begun int
	}{
		"nothing is known yet":       {0, -1, 1},
		"due a minute before":        {-time.Minute, -1, 1},
		"due in a week":              {7 * 24 * time.Hour, 2, 0},
		"due in a week, hours over":  {7 * 24 * time.Hour, 8, 1},
		"due in a week, no counter":  {7 * 24 * time.Hour, -1, 0},
		"overdue, hours hardly used": {-48 * time.Hour, 0.1, 1},
	} {
		s := newShop(t, p)
		if tc.next != 0 {
			at := monday.Add(time.Minute + tc.next)
			s.f.NextCheck = &at
		}
		if tc.hours >= 0 {
			s.f.Hours = &tc.hours
		}
		got := s.run(time.Hour)
		if s.begun != tc.begun || tc.begun == 0 &&
			!strings.Contains(got[0], "skip: no check at 2026-03-02 06:00: the next check is due at ") {
			t.Errorf("%s: begun %d times, want %d:\n%s", name, s.begun, tc.begun, strings.Join(got, "\n"))
		}
	}
}

func TestDryRun(t *testing.T) {
	p := plan()
	p.DryRun = true
	s := newShop(t, p)
	want(t, s.run(time.Hour), "06:00:00 note", "06:00:00 note",
		"06:02:00 done: dry run: the check of 2026-03-02 06:00 would begin now")
	if s.begun != 0 {
		t.Error("a dry run began a check")
	}
}

// Where nothing moves by our doing, neither arming nor an idle machine is asked for.
func TestWithoutMotion(t *testing.T) {
	p := plan()
	p.Moves, p.WarmUp = false, 0
	s := newShop(t, p)
	s.f.ArmedUntil, s.f.Barred = time.Time{}, Bar{Why: "nobody asked it"}
	want(t, s.run(time.Hour), "06:00:00 note", "06:00:00 note: all conditions hold", "06:00:00 begin", "06:01:00 done")
}

// A slot that comes while the check before it goes on is missed, not queued.
func TestAnotherSlotMeanwhile(t *testing.T) {
	s := newShop(t, plan())
	s.c = New(plan(), schedule.Plan{Times: []schedule.Minute{360, 364}}, monday)
	s.after = 10 * time.Minute
	got := s.run(time.Hour)
	if s.begun != 1 || !slices.ContainsFunc(got, func(x string) bool {
		return strings.Contains(x, "06:04 was missed: the one of 2026-03-02 06:00 was still going on")
	}) {
		t.Errorf("begun %d times:\n%s", s.begun, strings.Join(got, "\n"))
	}
}

// What is said beforehand is what would hold the check back when its time comes.
func TestOutlook(t *testing.T) {
	slot := monday.Add(time.Minute)
	for name, tc := range map[string]struct {
		change func(p *Plan, f *Facts)
		want   string
	}{
		"all holds": {func(*Plan, *Facts) {}, ""},
		"not armed": {func(_ *Plan, f *Facts) { f.ArmedUntil = time.Time{} }, "it is not armed: tramd arm"},
		"armed for too short": {func(_ *Plan, f *Facts) { f.ArmedUntil = slot },
			"the arming runs out before, at 2026-03-02 06:00:00: tramd arm"},
		"nothing moves": {func(p *Plan, f *Facts) { p.Moves, f.ArmedUntil = false, time.Time{} }, ""},
		"the clock":     {func(_ *Plan, f *Facts) { f.ClockSet = false }, "the clock is not set"},
		"silent":        {func(_ *Plan, f *Facts) { f.Gauges[0].Live = false }, "indicator arm sends nothing"},
		"out of its travel": {func(_ *Plan, f *Facts) { f.Gauges[0].MM = 0.95 },
			"indicator arm is outside its travel: 0.950 mm, allowed are 0.100 to 0.900 mm"},
		"no indicator": {func(_ *Plan, f *Facts) { f.Gauges = nil }, "there is no indicator"},
		"not due": {func(p *Plan, f *Facts) {
			p.When = WhenDue
			at := slot.Add(time.Second)
			f.NextCheck = &at
		}, "the next check is due at 2026-03-02 06:00:01"},
		"due by then": {func(p *Plan, f *Facts) { p.When, f.NextCheck = WhenDue, &slot }, ""},
		"two things": {func(_ *Plan, f *Facts) { f.ClockSet, f.ArmedUntil = false, time.Time{} },
			"the clock is not set; it is not armed: tramd arm"},
	} {
		p := plan()
		f := newShop(t, p).f
		tc.change(&p, &f)
		if got := strings.Join(p.Outlook(f, slot), "; "); got != tc.want {
			t.Errorf("%s: %q, want %q", name, got, tc.want)
		}
	}
}
