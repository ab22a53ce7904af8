package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"tramd/cmd/tramd/internal/api"
)

// oneObject runs a command and decodes the one JSON object that it must print.
func oneObject(t *testing.T, wantStatus int, args ...string) map[string]any {
	t.Helper()
	status, out, errOut := call(t, append(args, "--json")...)
	var got map[string]any
	if err := json.Unmarshal([]byte(out), &got); err != nil || status != wantStatus {
		t.Errorf("%q: status %d, %v in %q, %s", args, status, err, out, errOut)
	}
	return got
}

// What a program might ask for comes as JSON.
func TestProgramsAreAnsweredInJSON(t *testing.T) {
	t.Parallel()
	s := newShop(t, encoderPorts("/dev/none-1", "/dev/none-2"))
	s.daemon(t)
	if got := oneObject(t, exitDone, "version"); got["version"] != version || got["arch"] == "" {
		t.Errorf("version: %v", got)
	}
	if got := oneObject(t, exitDone, "config", "check", s.config); got["right"] != true || got["machine"] != "linnet" ||
		got["file"] != s.config {
		t.Errorf("config check: %v", got)
	}
	wrong := filepath.Join(s.dir, "wrong.toml")
	if err := os.WriteFile(wrong, []byte("[machine]\nnane = \"linnet\"\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	if got := oneObject(t, exitFailed, "config", "check", wrong); got["right"] != false ||
		!strings.Contains(got["error"].(string), "nane") {
		t.Errorf("config check of a wrong one: %v", got)
	}
	got := oneObject(t, exitDone, "backup", "--config", s.config, filepath.Join(s.dir, "copy.db"))
	if file, ok := got["file"].(string); !ok || len(got["removed"].([]any)) != 0 {
		t.Errorf("backup: %v", got)
	} else if _, err := os.Stat(file); err != nil {
		t.Error(err)
	}
	status, out, errOut := call(t, "watch", "--config", s.config, "--once", "--json")
	var snap api.Snapshot
	if err := json.Unmarshal([]byte(out), &snap); err != nil || status != exitDone || snap.Machine != "linnet" ||
		len(snap.Devices) != 2 {
		t.Errorf("watch: status %d, %v, %+v, %s", status, err, snap, errOut)
	}
}
