package web

import (
	"strings"
	"testing"
	"time"

	ics "github.com/arran4/golang-ical"
)

// The feed is read by a general-purpose library (arran4/golang-ical).
func TestTheCalendarShowsTheNextCheck(t *testing.T) {
	now := time.Date(2026, 3, 2, 9, 30, 0, 0, time.UTC)
	s := linnet(0)
	s.At, s.NextWhy = now, "the chance of being outside comes to 5 % then"
	events := func() []*ics.VEvent {
		t.Helper()
		w := do(Handler(Options{Live: always(s)}), call{method: "GET", path: "/calendar.ics"})
		if w.Code != 200 || w.Header().Get("Content-Type") != "text/calendar; charset=utf-8" {
			t.Fatalf("%d %v %s", w.Code, w.Header(), w.Body)
		}
		c, err := ics.ParseCalendar(w.Body)
		if err != nil {
			t.Fatal(err)
		}
		return c.Events()
	}
	value := func(e *ics.VEvent, p ics.ComponentProperty) string {
		if v := e.GetProperty(p); v != nil {
			return v.Value
		}
		return ""
	}

	s.NextCheck = ptr(now.Add(12 * 24 * time.Hour))
	first := events()
	if len(first) != 1 {
		t.Fatalf("%d entries for a check that lies ahead", len(first))
	}
	at, err := first[0].GetStartAt()
	if err != nil || !at.Equal(*s.NextCheck) || value(first[0], ics.ComponentPropertySummary) != "Check linnet" ||
		value(first[0], ics.ComponentPropertyDescription) != s.NextWhy ||
		value(first[0], ics.ComponentPropertyUrl) != "http://127.0.0.1:9743/" {
		t.Errorf("%v %v %s", at, err,
			first[0].Serialize(&ics.SerializationConfiguration{MaxLength: 75, NewLine: "\n", PropertyMaxLength: 75}))
	}

	s.NextCheck = ptr(now.Add(3 * 24 * time.Hour)) // a sweep brought another date
	if moved := events(); len(moved) != 1 || moved[0].Id() == "" || moved[0].Id() != first[0].Id() {
		t.Error("the entry does not move with the date")
	}

	s.NextCheck = ptr(now.Add(-2 * 24 * time.Hour))
	late := events()
	if len(late) != 2 || late[0].Id() != first[0].Id() || late[1].Id() == late[0].Id() {
		t.Fatalf("overdue: %d entries", len(late))
	}
	if day, err := late[1].GetAllDayStartAt(); err != nil ||
		day.Format(time.DateOnly) != now.Local().Format(time.DateOnly) ||
		!strings.Contains(value(late[1], ics.ComponentPropertySummary), "due since "+s.NextCheck.Local().Format(
			"2 January")) {
		t.Errorf("overdue: %v %v %q", day, err, value(late[1], ics.ComponentPropertySummary))
	}

	s.NextCheck = nil // no check was ever taken
	if never := events(); len(never) != 1 || value(never[0], ics.ComponentPropertySummary) != "Check linnet: due now" {
		t.Errorf("%d entries without a date", len(never))
	}
	s.Clock.Set = false
	if w := do(Handler(Options{Live: always(s)}), call{method: "GET", path: "/calendar.ics"}); w.Code != 503 ||
		!strings.Contains(w.Body.String(), "clock") {
		t.Errorf("with a clock that was not set: %d %s", w.Code, w.Body)
	}
}
