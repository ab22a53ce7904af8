package main

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"tramd/cmd/tramd/internal/api"
)

// A backup is made beside a daemon in the middle of a sweep, later put back, and holds what the record held then.
func TestBackupAndRestore(t *testing.T) {
	t.Parallel()
	m := startOther(t, "--rate", "200", "--encoder-rate", "200", "--seconds", "2", "--turns", "1.05")
	s := newShop(t, encoderPorts(m.Paths.Indicator, m.Paths.Encoder))
	stick, err := os.MkdirTemp("/dev/shm", "stick")
	if err != nil {
		t.Fatalf("%v; this test needs a second file system at /dev/shm, as every Linux has", err)
	}
	t.Cleanup(func() { os.RemoveAll(stick) })
	d := s.daemon(t)
	waitState(t, s, "both ports live", live)
	sweepOnce := func() {
		t.Helper()
		sw := program(t, "sweep", "--config", s.config)
		waitState(t, s, "a sweep", func(snap *api.Snapshot) bool { return snap.Sweep.Phase == api.PhaseWaiting })
		m.turn(t)
		if got := sw.wait(); got != exitOutside {
			t.Fatalf("exit status %d: %s", got, sw.err.String())
		}
	}
	sweepOnce()
	if status, _, errOut := call(t, "backup", "--config", s.config); status != exitUsage ||
		!strings.Contains(errOut, "[backup] to") {
		t.Errorf("with nowhere to go: %d %s", status, errOut)
	}
	if status, _, errOut := call(t, "backup", "--config", s.config, s.dir); status != exitFailed ||
		!strings.Contains(errOut, "--same-disk") {
		t.Errorf("to the same disk: %d %s", status, errOut)
	}
	status, out, errOut := call(t, "backup", "--config", s.config, stick)
	file := strings.TrimSpace(out)
	if status != exitDone || filepath.Dir(file) != stick {
		t.Fatalf("backup: %d %s %s", status, out, errOut)
	}
	sweepOnce()
	if status, _, errOut := call(t, "restore", "--config", s.config, file); status != exitFailed ||
		!strings.Contains(errOut, "nothing was changed") {
		t.Errorf("restore beside the daemon: %d %s", status, errOut)
	}
	if err := d.cmd.Process.Signal(syscall.SIGTERM); err != nil {
		t.Fatal(err)
	}
	d.wait()
	if got := oneObject(t, exitDone, "restore", "--config", s.config, file); got["file"] != file ||
		!strings.Contains(fmt.Sprint(got["replaced"]), ".replaced-") {
		t.Fatalf("restore: %v", got)
	}
	s.daemon(t)
	_, out, _ = call(t, "runs", "--config", s.config, "--json")
	if n := strings.Count(out, "\n"); n != 1 || !strings.Contains(out, `"id":1,`) {
		t.Errorf("after the restore:\n%s", out)
	}
	if _, err := os.Stat(file); err != nil {
		t.Errorf("the backup is gone: %v", err)
	}
	if status, _, errOut := call(t, "restore", "--config", s.config, s.config); status != exitFailed ||
		!strings.Contains(errOut, "nothing was changed") {
		t.Errorf("restore from a file that is no backup: %d %s", status, errOut)
	}
	if left, err := filepath.Glob(filepath.Join(stick, "*.part")); err != nil || len(left) != 0 {
		t.Error(errors.Join(err), left)
	}
}
