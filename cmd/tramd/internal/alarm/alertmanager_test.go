package alarm

import (
	"encoding/json"
	"maps"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"tramd/cmd/tramd/internal/api"
)

// realAlertmanager runs the one of Debian's package.
func realAlertmanager(t *testing.T) string {
	t.Helper()
	path, err := exec.LookPath("prometheus-alertmanager")
	if err != nil {
		t.Fatal("prometheus-alertmanager is missing: apt-get install prometheus-alertmanager")
	}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	addr := l.Addr().String()
	l.Close()
	dir := t.TempDir()
	file := filepath.Join(dir, "am.yml")
	if err := os.WriteFile(file, []byte("route: {receiver: shop}\nreceivers: [{name: shop}]\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(path, "--config.file="+file, "--storage.path="+dir, "--web.listen-address="+addr,
		"--cluster.listen-address=")
	var said strings.Builder
	cmd.Stdout, cmd.Stderr = &said, &said
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		_ = cmd.Process.Kill()
		_ = cmd.Wait()
		if t.Failed() {
			t.Log(said.String())
		}
	})
	return "http://" + addr
}

type shown struct {
	Labels, Annotations map[string]string
	StartsAt            time.Time
}

func active(t *testing.T, base string) (out []shown, ok bool) {
	t.Helper()
	resp, err := http.Get(base + "/api/v2/alerts?active=true")
	if err != nil {
		return nil, false
	}
	defer resp.Body.Close()
	if err := json.NewDecoder(resp.Body).Decode(&out); err != nil {
		return nil, false
	}
	return out, true
}

func TestARealAlertmanagerHearsBeginningAndEnd(t *testing.T) {
	base := realAlertmanager(t)
	m := &machine{}
	since := time.Now().Add(-time.Hour).Truncate(time.Millisecond).UTC()
	m.set(api.Alarm{Kind: "outside", Axis: "nod", Since: since, Text: "nod is 0.02 mm/m past its limit"})
	until(t, "the Alertmanager", func() bool { _, ok := active(t, base); return ok })
	// One of two addresses is dead, as in a shop where somebody moved a computer.
	notifier := New(m, Options{Machine: "linnet", Alertmanagers: []string{"http://127.0.0.1:1", base + "/"},
		File: filepath.Join(t.TempDir(), "a.alarms")})
	now := time.Now()
	notifier.look(t.Context())
	tell := func() {
		t.Helper()
		alerts, over := notifier.alerts(time.Now())
		if err := push(t.Context(), notifier.o.Alertmanagers, alerts); err != nil {
			t.Fatal(err)
		}
		notifier.heard(over)
	}
	tell()
	got, _ := active(t, base)
	if len(got) != 1 {
		t.Fatalf("the Alertmanager shows %v", got)
	}
	want := map[string]string{"alertname": "TramdLeanOutside", "machine": "linnet", "axis": "nod",
		"severity": "warning"}
	// those of the rules in dashboards/rules, or the Alertmanager would take them for two
	if !maps.Equal(got[0].Labels, want) {
		t.Errorf("labels %v, not %v", got[0].Labels, want)
	}
	if !got[0].StartsAt.Equal(since) || got[0].Annotations["summary"] != "linnet: nod is 0.02 mm/m past its limit" {
		t.Errorf("got %+v", got[0])
	}

	// It is over: cleared after its minute, and the Alertmanager shows it no longer.
	m.set()
	notifier.alerting.update(now.Add(time.Second), nil)
	for _, msg := range notifier.alerting.update(now.Add(2*time.Minute), nil) {
		msg.Until = &now
		notifier.state.Over = append(notifier.state.Over, msg)
	}
	if len(notifier.state.Over) != 1 {
		t.Fatalf("%d alarms are over", len(notifier.state.Over))
	}
	tell()
	until(t, "the alert to end", func() bool { got, ok := active(t, base); return ok && len(got) == 0 })
	if len(notifier.state.Over) != 0 {
		t.Error("an end that was received is sent again")
	}
}

func TestNoAlertmanagerAnswersIsSaid(t *testing.T) {
	err := push(t.Context(), []string{"http://127.0.0.1:1"}, []postable{{}})
	if err == nil || !strings.Contains(err.Error(), "connection refused") {
		t.Errorf("got %v", err)
	}
}
