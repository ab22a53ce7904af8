package alarm

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"strings"
	"text/template"
	"time"
)

// Webhook gets each message by one POST: as one JSON object, or as its template writes it.
type Webhook struct {
	URL     string
	Headers map[string]string  // beside or instead of Content-Type: application/json
	Body    *template.Template // from Template; nil: the message as JSON
}

// Template reads how a message is written for a webhook. Within it stand .Machine, .State (raised or cleared), .Title,
// .Text, .Kind, .About, .Name and .Measured (of the assembly), .Severity, .Since, .Until (nil while it stands), .Page
// and .Runbook; json quotes a value for a JSON text, and time writes one as people do.
func Template(text string) (*template.Template, error) {
	t, err := template.New("body").Option("missingkey=error").Funcs(template.FuncMap{
		"json": func(v any) (string, error) { b, err := json.Marshal(v); return string(b), err },
		"time": func(t time.Time) string { return t.Local().Format("2006-01-02 15:04") },
	}).Parse(text)
	if err != nil {
		return nil, err
	}
	until := time.Unix(1, 0)
	for _, m := range []Message{{State: "raised", Alarm: Alarm{Kind: "outside", About: "tilt"}},
		{State: "cleared", Until: &until}} {
		if err := t.Execute(&bytes.Buffer{}, m); err != nil { // before anything is wrong, and not when it is
			return nil, err
		}
	}
	return t, nil
}

func (w Webhook) name() string { return "webhook" }

func (w Webhook) tell(ctx context.Context, m Message) error {
	if w.Body == nil {
		text, err := json.Marshal(m)
		if err != nil {
			return err
		}
		return post(ctx, w.URL, text, w.Headers)
	}
	var b bytes.Buffer
	if err := w.Body.Execute(&b, m); err != nil {
		return fmt.Errorf("%w: %w", errRefused, err)
	}
	return post(ctx, w.URL, b.Bytes(), w.Headers)
}

// Title fits one line of a phone.
func (m Message) Title() string {
	what := m.Kind
	if m.Name != "" {
		what += ", " + m.Measured + " " + m.Name
	}
	if m.About != "" {
		what += ", " + m.About
	}
	if m.State == "cleared" {
		return m.Machine + ": over: " + what
	}
	return m.Machine + ": " + what
}

// over is what is said of an alarm that is over.
func (a Alarm) over(until time.Time) string {
	span := fmt.Sprintf("from %s to %s", minute(a.Since), minute(until))
	if a.Name != "" {
		alone := a
		alone.Name = ""
		if a.Kind == "overdue" {
			return fmt.Sprintf("%s %s: it was measured again, or is due later; the check was overdue %s", a.Measured,
				a.Name, span)
		}
		return fmt.Sprintf("%s %s: %s", a.Measured, a.Name, alone.over(until))
	}
	switch a.Kind {
	case "outside", "again":
		return fmt.Sprintf("%s is back within its tolerance, or something was done to the machine; it was outside %s",
			a.About, span)
	case "shift":
		return fmt.Sprintf("%s is no longer said to have moved: it came back, or an event says why; the alarm stood %s",
			a.About, span)
	case "trend":
		return fmt.Sprintf("%s is no longer moving, or something was done to the machine; the alarm stood %s",
			a.About, span)
	case "due", "overdue":
		return fmt.Sprintf("the machine was checked, or is due later; the check was %s %s", a.Kind, span)
	case "device":
		return fmt.Sprintf("%s sends again; it was silent %s", a.About, span)
	case "store":
		return "readings are written again; they waited " + span
	case "clock":
		return "the computer's clock is set; it was not " + span
	}
	return fmt.Sprintf("%s is well again; it needed a person %s", strings.TrimSpace(a.Kind+" "+a.About), span)
}

func minute(t time.Time) string { return t.UTC().Format("2006-01-02 15:04 UTC") }

// link adds where people find more.
func (m *Message) link(page string) {
	if page != "" {
		m.Page, m.Runbook = page, runbook(page, m.Alarm)
	}
}

// runbook returns the address of the page that says what to do about an alarm.
func runbook(page string, a Alarm) string {
	anchor := a.Kind
	if anchor == "overdue" {
		anchor = "due"
	}
	return strings.TrimSuffix(page, "/") + "/runbook#" + anchor
}
