package main

import (
	"bytes"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"tramd/cmd/tramd/internal/session"
)

// recordedSweep finds a recorded sweep of the test data.
func recordedSweep(t *testing.T) string {
	t.Helper()
	files, err := filepath.Glob("../../testdata/sweeps/*.csv")
	if err != nil || len(files) == 0 {
		t.Fatalf("no recorded sweeps: %v", err)
	}
	for _, f := range files {
		text, err := os.ReadFile(f)
		if err != nil {
			t.Fatal(err)
		}
		if bytes.HasPrefix(text, []byte("t_s,angle_deg,reading_mm\n")) || bytes.Contains(text, []byte("\nt_s,angle_deg,reading_mm\n")) {
			return f
		}
	}
	t.Fatal("no recorded sweep of one indicator")
	return ""
}

func TestRecordedSweepsAreImportedOnce(t *testing.T) {
	s := newShop(t, encoderPorts("/dev/serial/by-id/usb-none-if00", "/dev/serial/by-id/usb-none-if01"))
	csv := recordedSweep(t)
	text, err := os.ReadFile(csv)
	if err != nil {
		t.Fatal(err)
	}
	copied := filepath.Join(s.dir, "copy.csv")
	if err := os.WriteFile(copied, append([]byte("# a copy\r\n"), bytes.ReplaceAll(text, []byte("\n"), []byte("\r\n"))...), 0o600); err != nil {
		t.Fatal(err)
	}
	changed := time.Date(2026, 2, 3, 10, 20, 0, 0, time.Local)
	if err := os.Chtimes(copied, changed, changed); err != nil {
		t.Fatal(err)
	}
	bad := filepath.Join(s.dir, "bad.csv")
	if err := os.WriteFile(bad, []byte("t_s,angle_deg,reading_mm\n0,0,0.1\n1,ninety,0.2\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	_, fitted, _ := call(t, "fit", "--config", s.config, "--json", csv)
	var want swept
	if err := json.Unmarshal([]byte(fitted), &want); err != nil {
		t.Fatal(err)
	}

	// No daemon runs: straight into the record.
	status, out, errOut := call(t, "import", "--config", s.config, "--json", copied, bad, filepath.Join(s.dir, "none.csv"))
	if status != exitFailed || !strings.Contains(errOut, "line 3, column angle_deg") || !strings.Contains(errOut, "none.csv") {
		t.Errorf("status %d, %s", status, errOut)
	}
	var got swept
	if err := json.Unmarshal([]byte(out), &got); err != nil || got.Run != 1 || got.Tilt.MMPerM != want.Tilt.MMPerM {
		t.Errorf("%s %v; fitted %s", out, err, fitted)
	}
	if status, _, errOut := call(t, "import", "--config", s.config, csv); status != exitFailed || !strings.Contains(errOut, "imported already") || !strings.Contains(errOut, "run 1, from copy.csv") {
		t.Errorf("the same again: %d %s", status, errOut)
	}

	// And through the daemon.
	s.daemon(t)
	if status, _, errOut := call(t, "import", "--config", s.config, csv); status != exitFailed || !strings.Contains(errOut, "imported already") {
		t.Errorf("the same through the daemon: %d %s", status, errOut)
	}
	if status, _, errOut := call(t, "import", "--config", s.config, bad); status != exitFailed || !strings.Contains(errOut, "line 3, column angle_deg") {
		t.Errorf("a bad file through the daemon: %d %s", status, errOut)
	}
	status, out, errOut = call(t, "import", "--config", s.config, "--again", "--at", "2026-03-02 07:30", csv)
	if status == exitFailed || !strings.Contains(out, "run 2 from") || !strings.Contains(out, "taken 2026-03-02 07:30") {
		t.Errorf("again: %d %s %s", status, out, errOut)
	}
	waitState(t, s, "the imported check", func(snap *session.Snapshot) bool { return snap.Last != nil && snap.Last.Run == 2 })
	if _, out, _ := call(t, "runs", "--config", s.config); !strings.Contains(out, "2026-02-03 10:20:00") || !strings.Contains(out, "2026-03-02 07:30:00") {
		t.Errorf("runs: %s", out)
	}
	if metrics := get(t, "http://"+s.page+"/metrics"); !strings.Contains(metrics, `tramd_runs_total{kind="sweep",machine="linnet",outcome="finished"} 2`) {
		t.Errorf("metrics:\n%s", metrics)
	}
	for _, wrong := range [][]string{{"--at", "yesterday", csv}, {"--at", "2026-03-02", csv, copied}} {
		if status, _, errOut := call(t, append([]string{"import", "--config", s.config}, wrong...)...); status == exitDone || !strings.Contains(errOut, "--at") {
			t.Errorf("%v: %d %s", wrong, status, errOut)
		}
	}
}
