package web

import (
	"bytes"
	"context"
	"net/http"
	"net/url"
	"time"

	"tramd/cmd/tramd/internal/api"
	"tramd/cmd/tramd/internal/ical"
)

// checkLength is how long a check stands in a calendar: setting up, a sweep and putting away (common practice, no
// source).
const checkLength = 30 * time.Minute

// calendar serves the next check as a feed that a calendar subscribes to (RFC 5545).
func (s *server) calendar(w http.ResponseWriter, r *http.Request) {
	ctx, cancel := context.WithTimeout(r.Context(), 2*time.Second)
	defer cancel()
	snap, err := snapshot(ctx, s.Live)
	switch {
	case err != nil:
		err = api.Unavailable.New("the present state cannot be had: " + err.Error())
	case !snap.Clock.Set:
		err = api.Unavailable.New("the computer's clock was not set yet, so no day can be given; ask again later")
	}
	if err != nil {
		s.fail(w, err)
		return
	}
	scheme := "http"
	if r.TLS != nil {
		scheme = "https"
	}
	c := feed(snap, scheme+"://"+r.Host+"/")
	var body bytes.Buffer
	if err := c.Write(&body); err != nil {
		s.fail(w, err)
		return
	}
	h := w.Header()
	h.Set("Content-Type", "text/calendar; charset=utf-8")
	h.Set("Cache-Control", "no-store")
	_, _ = w.Write(body.Bytes()) // a reader who went away needs no answer
}

// feed returns a machine's calendar: the next check at its date, and once that has passed a reminder on today.
func feed(s *api.Snapshot, page string) *ical.Calendar {
	// stays when the date moves, so that the entry moves with it
	id := "next-check-" + url.PathEscape(s.Machine) + "@tramd"
	c := &ical.Calendar{Name: "Checks of " + s.Machine, Stamp: s.At, Again: time.Hour}
	if s.NextCheck != nil {
		c.Events = append(c.Events, ical.Event{
			UID: id, Start: *s.NextCheck, Length: checkLength, Summary: "Check " + s.Machine,
			Description: s.NextWhy, URL: page,
		})
	}
	if s.NextCheck == nil || !s.NextCheck.After(s.At) {
		summary := "Check " + s.Machine + ": due now"
		if s.NextCheck != nil {
			summary = "Check " + s.Machine + ": due since " + s.NextCheck.Local().Format("2 January 2006")
		}
		c.Events = append(c.Events, ical.Event{UID: "due-" + id, Start: s.At.Local(), AllDay: true, Summary: summary,
			Description: s.NextWhy, URL: page})
	}
	return c
}
