package schedule

import (
	"testing"
	"time"

	_ "time/tzdata" // the rules of the places below, wherever this runs
)

func place(t *testing.T, name string) *time.Location {
	t.Helper()
	loc, err := time.LoadLocation(name)
	if err != nil {
		t.Fatal(err)
	}
	return loc
}

func at(t *testing.T, text string) Minute {
	t.Helper()
	m, err := ParseMinute(text)
	if err != nil {
		t.Fatal(err)
	}
	return m
}

// The changes are those of the IANA time zone database (RFC 6557), as the Go library carries it.
func TestTimesThatAreSkippedOrComeTwice(t *testing.T) {
	for _, tc := range []struct{ name, place, time, date, want string }{
		{"an ordinary day", "Europe/Berlin", "06:00", "2026-03-02", "2026-03-02T06:00:00+01:00"},
		{"summer time begins: 02:30 is skipped", "Europe/Berlin", "02:30", "2026-03-29", "2026-03-29T03:00:00+02:00"},
		{"just before it", "Europe/Berlin", "01:59", "2026-03-29", "2026-03-29T01:59:00+01:00"},
		{"just after it", "Europe/Berlin", "03:00", "2026-03-29", "2026-03-29T03:00:00+02:00"},
		{"summer time ends: 02:30 comes twice", "Europe/Berlin", "02:30", "2026-10-25", "2026-10-25T02:30:00+02:00"},
		{"after it ended", "Europe/Berlin", "03:00", "2026-10-25", "2026-10-25T03:00:00+01:00"},
		{"west of Greenwich", "America/New_York", "02:15", "2026-03-08", "2026-03-08T03:00:00-04:00"},
		{"it comes twice there", "America/New_York", "01:30", "2026-11-01", "2026-11-01T01:30:00-04:00"},
		{"midnight is skipped", "America/Santiago", "00:00", "2026-09-06", "2026-09-06T01:00:00-03:00"},
		{"half an hour is skipped", "Australia/Lord_Howe", "02:10", "2026-10-04", "2026-10-04T02:30:00+11:00"},
		{"a whole date is skipped", "Pacific/Apia", "06:00", "2011-12-30", "2011-12-31T00:00:00+14:00"},
		{"no summer time", "UTC", "02:30", "2026-03-29", "2026-03-29T02:30:00Z"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			day, err := time.Parse(time.DateOnly, tc.date)
			if err != nil {
				t.Fatal(err)
			}
			if got := moment(day, at(t, tc.time), place(t, tc.place)).Format(time.RFC3339); got != tc.want {
				t.Errorf("got %s, want %s", got, tc.want)
			}
		})
	}
}

// Each day of two years has its slot once, whatever the clocks of the place do.
func TestOnceADay(t *testing.T) {
	for _, name := range []string{"Europe/Berlin", "America/New_York", "America/Santiago",
		"Australia/Lord_Howe", "UTC"} {
		for _, text := range []string{"00:00", "01:30", "02:30", "02:59", "23:59"} {
			p := Plan{Times: []Minute{at(t, text)}}
			now := time.Date(2026, 1, 1, 12, 0, 0, 0, place(t, name))
			for n := range 730 {
				s, ok := p.Next(now)
				want := time.Date(2026, 1, 1+n+map[bool]int{true: 0, false: 1}[at(t, text) > 12*60], 0, 0, 0, 0,
					time.UTC).Format(time.DateOnly) + " " + text
				if !ok || s.Name != want || !s.At.After(now) {
					t.Fatalf("%s: after %v comes %q at %v, want %q", name, now, s.Name, s.At, want)
				}
				now = s.At
			}
		}
	}
}

func TestDaysAndEveryFew(t *testing.T) {
	from := time.Date(2026, 3, 2, 0, 0, 0, 0, time.UTC) // a Monday
	names := func(p Plan, n int) (out []string) {
		now := from
		for range n {
			s, ok := p.Next(now)
			if !ok {
				break
			}
			out, now = append(out, s.Name), s.At
		}
		return out
	}
	for _, tc := range []struct {
		name string
		plan Plan
		want []string
	}{
		{"two times on two days", Plan{Times: []Minute{at(t, "18:00"), at(t, "06:00")},
			Days: []time.Weekday{time.Tuesday, time.Friday}},
			[]string{"2026-03-03 06:00", "2026-03-03 18:00", "2026-03-06 06:00", "2026-03-06 18:00",
				"2026-03-10 06:00"}},
		{"every third day", Plan{Times: []Minute{at(t, "06:00")}, Every: 3, From: from},
			[]string{"2026-03-02 06:00", "2026-03-05 06:00", "2026-03-08 06:00"}},
		{"never", Plan{}, nil},
	} {
		got := names(tc.plan, len(tc.want))
		for i := range tc.want {
			if i >= len(got) || got[i] != tc.want[i] {
				t.Errorf("%s: got %v, want %v", tc.name, got, tc.want)
				break
			}
		}
		if _, ok := tc.plan.Next(from); ok != (tc.want != nil) {
			t.Errorf("%s: a next one: %v", tc.name, ok)
		}
	}
}

func TestLast(t *testing.T) {
	now := time.Date(2026, 3, 2, 9, 0, 0, 0, place(t, "Europe/Berlin"))
	for _, tc := range []struct {
		name string
		plan Plan
		want string
	}{
		{"this morning", Plan{Times: []Minute{360}}, "2026-03-02 06:00"},
		{"just now", Plan{Times: []Minute{540}}, "2026-03-02 09:00"},
		{"yesterday", Plan{Times: []Minute{541}}, "2026-03-01 09:01"},
		{"last week", Plan{Times: []Minute{360}, Days: []time.Weekday{time.Tuesday}}, "2026-02-24 06:00"},
		{"last year", Plan{Times: []Minute{360}, Every: 365, From: time.Date(2024, 3, 4, 0, 0, 0, 0, time.UTC)},
			"2025-03-04 06:00"},
		{"not yet", Plan{Times: []Minute{360}, Every: 2, From: time.Date(2026, 3, 3, 0, 0, 0, 0, time.UTC)}, ""},
	} {
		if s, ok := tc.plan.Last(now); s.Name != tc.want || ok != (tc.want != "") {
			t.Errorf("%s: got %q, %v, want %q", tc.name, s.Name, ok, tc.want)
		}
	}
}

func TestParse(t *testing.T) {
	for _, bad := range []string{"", "6", "24:00", "06:60", "06:00:00", "noon", "-1:00"} {
		if m, err := ParseMinute(bad); err == nil {
			t.Errorf("%q was read as %v", bad, m)
		}
	}
	if d, err := ParseDay("Thursday"); err != nil || d != time.Thursday {
		t.Error(d, err)
	}
	if d, err := ParseDay("someday"); err == nil {
		t.Error(d)
	}
}

func FuzzNext(f *testing.F) {
	f.Add(int64(1772409600), int64(1774749600), 150, 3)
	zones := []*time.Location{time.UTC}
	for _, name := range []string{"Europe/Berlin", "America/Santiago", "Australia/Lord_Howe", "Pacific/Apia"} {
		loc, err := time.LoadLocation(name)
		if err != nil {
			f.Fatal(err)
		}
		zones = append(zones, loc)
	}
	f.Fuzz(func(t *testing.T, now, from int64, minute, every int) {
		const span = 1 << 33
		loc := zones[uint(minute)%uint(len(zones))]
		p := Plan{Times: []Minute{Minute(uint(minute) % 1440)}, Every: every % 1000,
			From: time.Unix(from%span, 0).In(loc)}
		n := time.Unix(now%span, 0).In(loc)
		if s, ok := p.Next(n); ok && !s.At.After(n) {
			t.Errorf("%v comes after %v", s, n)
		}
	})
}
