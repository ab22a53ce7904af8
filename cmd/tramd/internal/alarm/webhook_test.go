package alarm

import (
	"encoding/json"
	"io"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"tramd/cmd/tramd/internal/api"
)

// A chat service gets what its template writes, with its headers; a cleared alarm says so in words of its own.
func TestAChatServiceIsToldInItsOwnForm(t *testing.T) {
	var got []string
	srv := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		text, _ := io.ReadAll(r.Body)
		got = append(got, r.Header.Get("Authorization")+" "+r.Header.Get("Content-Type")+" "+string(text))
	}))
	defer srv.Close()
	body,
		err := Template(
		`{"text": {{printf "%s\n%s" .Title .Text | json}}{{if .Until}}, "until": {{time .Until.UTC | json}}{{end}}, "link": {{json .Runbook}}}`)
	if err != nil {
		t.Fatal(err)
	}
	w := Webhook{URL: srv.URL, Body: body, Headers: map[string]string{"Authorization": "Bearer x"}}
	b := newAlertState("linnet", nil, noon)
	a := Alarm{Kind: "outside", About: "tilt", Since: noon, Text: `tilt is "outside" by 0.02 mm/m`}
	messages := append(b.update(noon, []Alarm{a}), b.update(noon.Add(time.Hour), nil)...)
	for _, m := range messages {
		m.link("https://linnet.shop.example/")
		if err := w.tell(t.Context(), m); err != nil {
			t.Fatal(err)
		}
	}
	if len(got) != 2 {
		t.Fatalf("heard %q", got)
	}
	for i, must := range []string{`tilt is "outside" by 0.02 mm/m`, "tilt is back within its tolerance"} {
		text, ok := strings.CutPrefix(got[i], "Bearer x application/json ")
		var said struct{ Text, Link string }
		if err := json.Unmarshal([]byte(text), &said); !ok || err != nil || !strings.Contains(said.Text, must) ||
			said.Link != "https://linnet.shop.example/runbook#outside" {
			t.Errorf("heard %q (%v), want %q in it", got[i], err, must)
		}
	}
	for _, bad := range []string{"{{.Nothing}}", "{{", "{{.Until.Year.X}}"} {
		if _, err := Template(bad); err == nil {
			t.Errorf("%s was taken", bad)
		}
	}
}

// What stood outside at an earlier check, too, is critical; a check that stays away is overdue after two intervals.
func TestAgainAndOverdue(t *testing.T) {
	next := noon.Add(48 * time.Hour)
	s := &api.Snapshot{Machine: "linnet", NextCheck: &next, Store: api.StoreState{OK: true},
		Clock: api.ClockState{Set: true},
		Last:  &api.LastRun{At: noon},
		Drift: &api.DriftState{Alarms: []api.Alarm{{Kind: "outside", Axis: "nod", Since: noon}}}}
	for _, x := range []struct {
		at   time.Time
		last time.Time
		want string
	}{
		{noon, noon, "outside"},
		{noon.Add(time.Hour), noon.Add(time.Hour), "outside again"},
		{next.Add(time.Hour), noon, "outside due"},
		{next.Add(95 * time.Hour), noon, "outside due"},
		{next.Add(97 * time.Hour), noon, "outside due overdue"},
	} {
		s.At, s.Last.At = x.at, x.last
		var kinds []string
		for _, a := range Standing(s) {
			kinds = append(kinds, a.Kind)
			if a.Kind == "again" && a.Severity != "critical" ||
				a.About == "nod" != (a.Kind == "outside" || a.Kind == "again") {
				t.Errorf("%+v", a)
			}
		}
		if got := strings.Join(kinds, " "); got != x.want {
			t.Errorf("at %v: %s, want %s", x.at, got, x.want)
		}
	}
	s.Last, s.At = nil, next.Add(15*24*time.Hour)
	if got := Standing(s); len(got) != 3 || got[2].Kind != "overdue" {
		t.Errorf("never checked: %+v", got)
	}
}

// What is wrong with the machine holds while the computer is off; what is wrong with the computer does not.
func TestAnAlertHoldsWhileTheComputerIsOff(t *testing.T) {
	if got := (Alarm{Kind: "outside"}).ends(noon); got.Sub(noon) < 7*24*time.Hour {
		t.Errorf("outside ends at %v", got)
	}
	if got := (Alarm{Kind: "device"}).ends(noon); got.Sub(noon) > 10*time.Minute {
		t.Errorf("device ends at %v", got)
	}
}
