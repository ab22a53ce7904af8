package schedule

import (
	"fmt"
	"slices"
	"testing"
	"time"
)

// day runs a tracker over a list of clock readings and returns what it gave out.
func lookThrough(k *Tracker, looks ...time.Time) (out []string) {
	for _, now := range looks {
		due, missed := k.Look(now)
		for _, s := range missed {
			out = append(out, "missed "+s.Name)
		}
		if due != nil {
			out = append(out, "due "+due.Name)
		}
	}
	return out
}

func TestEachSlotIsGivenOutOnce(t *testing.T) {
	berlin := place(t, "Europe/Berlin")
	clock := func(text string) time.Time {
		at, err := time.ParseInLocation("2006-01-02 15:04:05", text, berlin)
		if err != nil {
			t.Fatal(err)
		}
		return at
	}
	seconds := func(from time.Time, n int, step time.Duration) (out []time.Time) {
		for i := range n {
			out = append(out, from.Add(time.Duration(i)*step))
		}
		return out
	}
	six := Plan{Times: []Minute{6 * 60}}
	for _, tc := range []struct {
		name  string
		plan  Plan
		last  time.Time
		looks []time.Time
		want  []string
	}{
		{"the first start has missed nothing", six, time.Time{}, []time.Time{clock("2026-03-02 09:00:00")}, nil},
		{"an ordinary morning", six, clock("2026-03-01 06:00:00"),
			seconds(clock("2026-03-02 05:59:00"), 180, time.Second), []string{"due 2026-03-02 06:00"}},
		{"a busy machine looks late", six, clock("2026-03-01 06:00:00"),
			[]time.Time{clock("2026-03-02 05:59:59"), clock("2026-03-02 06:03:00")}, []string{"due 2026-03-02 06:00"}},
		{"the power came back too late", six, clock("2026-03-01 06:00:00"),
			[]time.Time{clock("2026-03-02 06:05:01"), clock("2026-03-02 06:05:02")},
			[]string{"missed 2026-03-02 06:00"}},
		{"off over the weekend", six, clock("2026-03-06 06:00:00"), []time.Time{clock("2026-03-09 06:00:10")},
			[]string{"missed 2026-03-07 06:00", "missed 2026-03-08 06:00", "due 2026-03-09 06:00"}},
		{"restarted in the same minute", six, clock("2026-03-02 06:00:00"), []time.Time{clock("2026-03-02 06:00:30")},
			nil},
		{"the clock is put back over it", six, clock("2026-03-01 06:00:00"),
			[]time.Time{clock("2026-03-02 06:00:00"), clock("2026-03-02 05:30:00"), clock("2026-03-02 06:00:00"),
				clock("2026-03-02 06:00:01")}, []string{"due 2026-03-02 06:00"}},
		{"the clock is put forward over it", six, clock("2026-03-01 06:00:00"),
			[]time.Time{clock("2026-03-02 05:30:00"), clock("2026-03-02 07:30:00"), clock("2026-03-03 06:00:00")},
			[]string{"missed 2026-03-02 06:00", "due 2026-03-03 06:00"}},
		{"the clock was years ahead for a while", six, clock("2031-03-01 06:00:00"),
			[]time.Time{clock("2026-03-02 05:59:00"), clock("2026-03-02 06:00:00")}, []string{"due 2026-03-02 06:00"}},
		{"summer time begins", Plan{Times: []Minute{2*60 + 30}}, clock("2026-03-28 02:30:00"),
			seconds(clock("2026-03-29 01:30:00"), 200, time.Minute), []string{"due 2026-03-29 02:30"}},
		{"summer time ends", Plan{Times: []Minute{2*60 + 30}}, clock("2026-10-24 02:30:00"),
			seconds(clock("2026-10-25 01:30:00"), 300, time.Minute), []string{"due 2026-10-25 02:30"}},
		{"two slots within the grace", Plan{Times: []Minute{360, 362}}, clock("2026-03-01 12:00:00"),
			[]time.Time{clock("2026-03-02 06:03:00")},
			[]string{"missed 2026-03-02 06:00", "due 2026-03-02 06:02"}},
	} {
		t.Run(tc.name, func(t *testing.T) {
			k := &Tracker{Plan: tc.plan, Last: tc.last}
			if got := lookThrough(k, tc.looks...); !slices.Equal(got, tc.want) {
				t.Errorf("got %v, want %v", got, tc.want)
			}
		})
	}
}

// A year of looks, with the clock stepped about, the program started again and the power off, all at random: no slot is
// given out twice, and each is either due or missed as long as the clock is not put back by more than a day.
func TestNoSlotTwice(t *testing.T) {
	berlin := place(t, "Europe/Berlin")
	k := &Tracker{Plan: Plan{Times: []Minute{2*60 + 30, 6 * 60}}}
	now := time.Date(2026, 1, 1, 0, 0, 0, 0, berlin)
	k.Look(now)
	seen := map[string]int{}
	steps := []time.Duration{time.Second, time.Second, time.Minute, 20 * time.Minute, 3 * time.Hour, -10 * time.Second,
		-50 * time.Minute}
	for i := 0; now.Year() == 2026; i++ {
		now = now.Add(steps[(i*i+i/7)%len(steps)])
		for _, what := range lookThrough(k, now) {
			var kind, date, minute string
			if _, err := fmt.Sscan(what, &kind, &date, &minute); err != nil {
				t.Fatal(err)
			}
			seen[date+" "+minute]++
		}
		if i%50 == 0 { // a restart, with what was stored
			k = &Tracker{Plan: k.Plan, Last: k.Last.UTC()}
		}
	}
	for name, n := range seen {
		if n != 1 {
			t.Errorf("%s was given out %d times", name, n)
		}
	}
	if len(seen) < 2*365-1 || len(seen) > 2*365+2 {
		t.Errorf("%d slots in a year of two a day", len(seen))
	}
}
