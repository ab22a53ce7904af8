package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"tramd/cmd/tramd/internal/api"
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
		if bytes.HasPrefix(text, []byte("t_s,angle_deg,reading_mm\n")) ||
			bytes.Contains(text, []byte("\nt_s,angle_deg,reading_mm\n")) {
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
	if err := os.WriteFile(copied, append([]byte("# a copy\r\n"),
		bytes.ReplaceAll(text, []byte("\n"), []byte("\r\n"))...), 0o600); err != nil {
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
	status, out, errOut := call(t, "import", "--config", s.config, "--json", copied, bad,
		filepath.Join(s.dir, "none.csv"))
	if status != exitFailed || !strings.Contains(errOut, "line 3, column angle_deg") ||
		!strings.Contains(errOut, "none.csv") {
		t.Errorf("status %d, %s", status, errOut)
	}
	var got swept
	if err := json.Unmarshal([]byte(out), &got); err != nil || got.Run != 1 || got.Tilt.MMPerM != want.Tilt.MMPerM {
		t.Errorf("%s %v; fitted %s", out, err, fitted)
	}
	if status, _, errOut := call(t, "import", "--config", s.config, csv); status != exitFailed ||
		!strings.Contains(errOut, "in the record already") ||
		!strings.Contains(errOut, "run 1, imported from copy.csv") {
		t.Errorf("the same again: %d %s", status, errOut)
	}

	// And through the daemon.
	s.daemon(t)
	if status, _, errOut := call(t, "import", "--config", s.config, csv); status != exitFailed ||
		!strings.Contains(errOut, "in the record already") {
		t.Errorf("the same through the daemon: %d %s", status, errOut)
	}
	if status, _, errOut := call(t, "import", "--config", s.config, bad); status != exitFailed ||
		!strings.Contains(errOut, "line 3, column angle_deg") {
		t.Errorf("a bad file through the daemon: %d %s", status, errOut)
	}
	status, out, errOut = call(t, "import", "--config", s.config, "--again", "--at", "2026-03-02 07:30",
		"--temperature", "21.5", csv)
	if status == exitFailed || !strings.Contains(out, "run 2 from") ||
		!strings.Contains(out, "taken 2026-03-02 07:30") {
		t.Errorf("again: %d %s %s", status, out, errOut)
	}
	waitState(t, s, "the imported check", func(snap *api.Snapshot) bool {
		return snap.Last != nil && snap.Last.Run == 2
	})
	if _, out, _ := call(t, "runs", "--config", s.config); !strings.Contains(out, "2026-02-03 10:20:00") ||
		!strings.Contains(out, "2026-03-02 07:30:00") {
		t.Errorf("runs: %s", out)
	}
	if _, out, _ := call(t, "show", "--config", s.config, "2"); !strings.Contains(out, "at 21.5 °C") {
		t.Errorf("its temperature: %s", out)
	}
	if metrics := get(t, "http://"+s.page+"/metrics"); !strings.Contains(
		metrics, `tramd_runs_total{kind="sweep",machine="linnet",outcome="finished"} 2`) {
		t.Errorf("metrics:\n%s", metrics)
	}
	if apart := get(t, "http://"+s.page+"/api/v1/runs/1/separate?turned=2"); !strings.Contains(
		apart, `{"spindle":{"tilt":{"mm_per_m":`) || !strings.Contains(apart, `"plate":{"tilt":{"mm_per_m":0,`) {
		t.Errorf("one sweep set against itself: %s", apart)
	}
	for _, wrong := range [][]string{{"--at", "yesterday", csv}, {"--at", "2026-03-02", csv, copied},
		{"--temperature", "215", csv}, {"--temperature", "20", csv, copied}, {"--temperature", "NaN", csv}} {
		if status, _, errOut := call(
			t, append([]string{"import", "--config", s.config}, wrong...)...); status == exitDone ||
			!strings.Contains(errOut, wrong[0]) {
			t.Errorf("%v: %d %s", wrong, status, errOut)
		}
	}
}

// A run of few stations that comes in without a daemon borrows the repeatability of the machine's earlier runs, as one
// that comes in through the daemon does. The stations are those of a dial read by eye: 0.012 mm of lean over 280 mm,
// and 1 µm of scatter. A run that was exported is known again.
func TestAnImportWithoutADaemonKnowsTheRecord(t *testing.T) {
	t.Parallel()
	s := newShop(
		t, "[[indicator]]\nname = \"dial\"\nradius_mm = 140.0\nresolution_mm = 0.001\n[angle]\nsource = \"typed\"\n")
	bring := func(name string, scatter ...float64) (status int, out, errOut string) {
		t.Helper()
		text := "t_s,angle_deg,reading_mm\n"
		for i, mm := range []float64{0.506, 0.5, 0.494, 0.5, 0.506} {
			text += fmt.Sprintf("%d,%d,%.6f\n", 10*i, 90*i, mm+scatter[i])
		}
		path := filepath.Join(s.dir, name)
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		return call(t, "import", "--config", s.config, "--json", path)
	}
	if status, out, errOut := bring("first.csv", 0.001, 0, -0.001, 0.001, 0); status == exitFailed ||
		!strings.Contains(out, "assumed_repeatability") {
		t.Fatalf("the first of all: %d %s %s", status, out, errOut)
	}
	status, alone, errOut := bring("second.csv", 0, 0.001, 0, 0.001, 0.001)
	if status == exitFailed || !strings.Contains(alone, "borrowed_repeatability") {
		t.Errorf("without a daemon: %d %s %s", status, alone, errOut)
	}
	back := filepath.Join(s.dir, "back.csv")
	_, exported, _ := call(t, "export", "--config", s.config, "2")
	if err := os.WriteFile(back, []byte(exported), 0o600); err != nil {
		t.Fatal(err)
	}
	if status, _, errOut := call(t, "import", "--config", s.config, back); status != exitFailed ||
		!strings.Contains(errOut, "run 2, imported from second.csv") {
		t.Errorf("run 2 came back: %d %s", status, errOut)
	}
	s.daemon(t)
	status, through, errOut := bring("third.csv", 0, 0, 0.001, -0.001, 0)
	if status == exitFailed || !strings.Contains(through, "borrowed_repeatability") {
		t.Errorf("through the daemon: %d %s %s", status, through, errOut)
	}
}
