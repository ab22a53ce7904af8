package schedule

import (
	"fmt"
	"slices"
	"strings"
	"time"
)

// Plan is when something is to be done, by local time.
type Plan struct {
	Times []Minute       // of the day
	Days  []time.Weekday // empty: every day
	Every int            // days from one to the next, counted from From; 0 or 1: each
	From  time.Time      // its date counts
}

// Minute is a time of day, in minutes since midnight.
type Minute int

// ParseMinute reads "06:00".
func ParseMinute(text string) (Minute, error) {
	t, err := time.Parse("15:04", text)
	if err != nil {
		return 0, fmt.Errorf("%q is not a time of day; write hours and minutes, for example \"06:00\"", text)
	}
	return Minute(t.Hour()*60 + t.Minute()), nil
}

func (m Minute) String() string { return fmt.Sprintf("%02d:%02d", m/60, m%60) }

var days = []string{"sun", "mon", "tue", "wed", "thu", "fri", "sat"}

// ParseDay reads "mon" or "monday".
func ParseDay(text string) (time.Weekday, error) {
	for i, d := range days {
		if lower := strings.ToLower(text); lower == d || lower == strings.ToLower(time.Weekday(i).String()) {
			return time.Weekday(i), nil
		}
	}
	return 0, fmt.Errorf("%q is not a day; write %s", text, strings.Join(days, ", "))
}

// Slot is one time at which something is to be done.
type Slot struct {
	Name string    // "2026-03-29 06:00": local date and time as planned
	At   time.Time // when that is
}

// Next returns the first slot after a moment, in the moment's own time zone; false where there is none in ten years.
func (p Plan) Next(after time.Time) (Slot, bool) {
	times := slices.Clone(p.Times)
	slices.Sort(times)
	y, m, d := after.Date()
	loc := after.Location()
	// from the day before: its last slot may have been put off past midnight
	for n := -1; n < 3660 && len(times) > 0; n++ {
		day := time.Date(y, m, d+n, 0, 0, 0, 0, time.UTC) // a date, not a moment
		if !p.on(day) {
			continue
		}
		for _, t := range times {
			if at := moment(day, t, loc); at.After(after) {
				return Slot{day.Format(time.DateOnly) + " " + t.String(), at}, true
			}
		}
	}
	return Slot{}, false
}

// Last returns the last slot at or before a moment; false where there was none in four hundred days.
func (p Plan) Last(now time.Time) (Slot, bool) {
	for _, back := range []int{2, 10, 400} {
		var last Slot
		for s, ok := p.Next(now.AddDate(0, 0, -back)); ok && !s.At.After(now); s, ok = p.Next(s.At) {
			last = s
		}
		if last.Name != "" {
			return last, true
		}
	}
	return Slot{}, false
}

func (p Plan) on(day time.Time) bool {
	if len(p.Days) > 0 && !slices.Contains(p.Days, day.Weekday()) {
		return false
	}
	if p.Every <= 1 {
		return true
	}
	y, m, d := p.From.Date()
	from := time.Date(y, m, d, 0, 0, 0, 0, time.UTC)
	n := int(day.Sub(from) / (24 * time.Hour))
	return n >= 0 && n%p.Every == 0
}

// moment is when the clocks of a place show a time of day on a date: the first time they do, or, where that time is
// skipped, the next minute they show.
func moment(day time.Time, t Minute, loc *time.Location) time.Time {
	for n := range 3 * 24 * 60 { // a whole date has been skipped before
		wall := day.Add(time.Duration(int(t)+n) * time.Minute) // as if the place kept UTC
		var first time.Time
		// Only the offsets in force around then can be the one; two of them where the clocks change.
		for _, around := range []time.Duration{-36 * time.Hour, 0, 36 * time.Hour} {
			_, offset := wall.Add(around).In(loc).Zone()
			at := wall.Add(-time.Duration(offset) * time.Second).In(loc)
			if at.Format(time.DateOnly+" 15:04") == wall.Format(time.DateOnly+" 15:04") &&
				(first.IsZero() || at.Before(first)) {
				first = at
			}
		}
		if !first.IsZero() {
			return first
		}
	}
	return day.Add(time.Duration(t) * time.Minute) // not reached: no place skips three days
}
