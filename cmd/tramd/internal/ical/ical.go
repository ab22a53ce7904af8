// Package ical writes calendars in the iCalendar format (RFC 5545): lines folded at 75 octets, text escaped, times in
// UTC.
package ical

import (
	"io"
	"strconv"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"
)

// Event is one entry of a calendar.
type Event struct {
	UID         string // the same for as long as the entry means the same thing
	Start       time.Time
	AllDay      bool // on the day of Start in its own zone
	Length      time.Duration
	Summary     string
	Description string
	URL         string // empty: none
}

// Calendar is what one feed holds; RFC 5545 wants one event at least.
type Calendar struct {
	Name   string
	Stamp  time.Time     // when this state of it was made
	Again  time.Duration // how often a reader asks again
	Events []Event
}

// Write writes a calendar.
func (c *Calendar) Write(w io.Writer) error {
	var b strings.Builder
	line(&b, "BEGIN:VCALENDAR")
	line(&b, "VERSION:2.0")
	line(&b, "PRODID:-//tramd//next check//EN")
	line(&b, "NAME:"+escape(c.Name)) // RFC 7986, 5.1 and 5.7
	if h := int(c.Again.Hours()); h > 0 {
		line(&b, "REFRESH-INTERVAL;VALUE=DURATION:PT"+strconv.Itoa(h)+"H")
	}
	for _, e := range c.Events {
		line(&b, "BEGIN:VEVENT")
		line(&b, "UID:"+escape(e.UID))
		line(&b, "DTSTAMP:"+utc(c.Stamp))
		if e.AllDay {
			line(&b, "DTSTART;VALUE=DATE:"+e.Start.Format("20060102")) // one day, without an end (3.6.1)
		} else {
			line(&b, "DTSTART:"+utc(e.Start))
			line(&b, "DTEND:"+utc(e.Start.Add(e.Length)))
		}
		line(&b, "SUMMARY:"+escape(e.Summary))
		if e.Description != "" {
			line(&b, "DESCRIPTION:"+escape(e.Description))
		}
		if e.URL != "" {
			line(&b, "URL:"+printable(e.URL))
		}
		line(&b, "TRANSP:TRANSPARENT") // a due check does not fill a person's day
		line(&b, "END:VEVENT")
	}
	line(&b, "END:VCALENDAR")
	_, err := io.WriteString(w, b.String())
	return err
}

func utc(t time.Time) string { return t.UTC().Format("20060102T150405Z") }

// escaper follows RFC 5545, 3.3.11.
var escaper = strings.NewReplacer(`\`, `\\`, ";", `\;`, ",", `\,`, "\r\n", `\n`, "\n", `\n`)

// escape returns text as a value. Other control characters are not allowed there.
func escape(text string) string { return printable(escaper.Replace(text)) }

func printable(text string) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsControl(r) && r != '\t' {
			return -1
		}
		return r
	}, strings.ToValidUTF8(text, "\uFFFD"))
}

// line writes a content line, folded so that none is longer than 75 octets (3.1), and never within a character.
func line(b *strings.Builder, text string) {
	room := 75
	for len(text) > room {
		cut := room
		for !utf8.RuneStart(text[cut]) {
			cut--
		}
		b.WriteString(text[:cut] + "\r\n ")
		text, room = text[cut:], 74 // the space counts
	}
	b.WriteString(text + "\r\n")
}
