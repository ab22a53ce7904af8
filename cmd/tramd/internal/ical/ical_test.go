package ical

import (
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	ics "github.com/arran4/golang-ical"
)

var noon = time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC)

// What is written is read back by a general-purpose library (arran4/golang-ical), whatever the text.
func TestTextsSurvive(t *testing.T) {
	for _, text := range []string{
		"plain", `a, b; c \ d`, "two\nlines", strings.Repeat("ünïcode ½ µm ", 30), strings.Repeat("x", 75),
		strings.Repeat("é", 200), `\n is no new line`,
	} {
		checkBack(t, text, text)
	}
	checkBack(t, "a\x00b\x1bc\xff\r\nd", "abc\uFFFD\nd")
}

func checkBack(t *testing.T, text, want string) {
	t.Helper()
	var b strings.Builder
	c := Calendar{Name: text, Stamp: noon, Again: time.Hour,
		Events: []Event{{UID: "u", Start: noon.Add(time.Hour), Length: time.Hour, Summary: text, Description: text}}}
	if err := c.Write(&b); err != nil {
		t.Fatal(err)
	}
	for l := range strings.SplitSeq(b.String(), "\r\n") {
		if len(l) > 75 || strings.ContainsAny(l, "\r\n") || !utf8.ValidString(l) {
			t.Errorf("a line of %d octets: %q", len(l), l)
		}
	}
	got, err := ics.ParseCalendar(strings.NewReader(b.String()))
	if err != nil {
		t.Fatalf("%v in\n%s", err, b.String())
	}
	if len(got.Events()) != 1 {
		t.Fatalf("%d events in\n%s", len(got.Events()), b.String())
	}
	e := got.Events()[0]
	for _, p := range []ics.ComponentProperty{ics.ComponentPropertySummary, ics.ComponentPropertyDescription} {
		if v := e.GetProperty(p); v == nil || v.Value != want {
			t.Errorf("%s of %q came back as %+v", p, text, v)
		}
	}
	if at, err := e.GetStartAt(); err != nil || !at.Equal(noon.Add(time.Hour)) {
		t.Errorf("start %v, %v", at, err)
	}
	if at, err := e.GetDtStampTime(); err != nil || !at.Equal(noon) {
		t.Errorf("stamp %v, %v", at, err)
	}
}

// FuzzText: no text breaks a calendar.
func FuzzText(f *testing.F) {
	f.Add("a, b; c")
	f.Add("END:VEVENT\r\nEND:VCALENDAR\r\n")
	f.Fuzz(func(t *testing.T, text string) {
		var b strings.Builder
		c := Calendar{Name: text, Stamp: noon,
			Events: []Event{{UID: text, Start: noon, AllDay: true, Summary: text, URL: text}}}
		if err := c.Write(&b); err != nil {
			t.Fatal(err)
		}
		if n := strings.Count("\r\n"+b.String(), "\r\nEND:V"); n != 2 {
			t.Errorf("%d ends in %q", n, b.String())
		}
		for l := range strings.SplitSeq(b.String(), "\r\n") {
			if len(l) > 75 || !utf8.ValidString(l) {
				t.Errorf("%q", l)
			}
		}
	})
}
