package web

import (
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
)

// Every alarm's link leads to a heading of the runbook.
func TestTheRunbookSpeaksOfEveryAlarm(t *testing.T) {
	s := newServer(Options{Local: true})
	rec := httptest.NewRecorder()
	s.runbook(rec, httptest.NewRequest(http.MethodGet, "/runbook", nil))
	if rec.Code != http.StatusOK || !strings.HasPrefix(rec.Header().Get("Content-Type"), "text/html") {
		t.Fatalf("%d, %s", rec.Code, rec.Header())
	}
	for _, kind := range []string{"outside", "again", "shift", "trend", "due", "device", "store", "clock", "chore",
		"gone", "failing", "input", "twice"} {
		if !strings.Contains(rec.Body.String(), `id="`+kind+`"`) {
			t.Errorf("nothing of %s", kind)
		}
	}
	if !strings.Contains(rec.Body.String(), "Isolate the spindle's power") {
		t.Error("no caution")
	}
}
