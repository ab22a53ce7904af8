package main

import (
	"bytes"
	"encoding/hex"
	"encoding/json"
	"errors"
	"io"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"tramd/cmd/tramd/internal/api"
)

// mayMount makes sure that the test may mount a disk. Where it may not, the test is run once more, as root of a name
// space of its own, and there is nothing left to do here.
func mayMount(t *testing.T) bool {
	t.Helper()
	if os.Getuid() == 0 {
		return true
	}
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(self, "-test.run", "^"+t.Name()+"$", "-test.v")
	cmd.SysProcAttr = &syscall.SysProcAttr{
		Cloneflags:  syscall.CLONE_NEWUSER | syscall.CLONE_NEWNS,
		UidMappings: []syscall.SysProcIDMap{{ContainerID: 0, HostID: os.Getuid(), Size: 1}},
		GidMappings: []syscall.SysProcIDMap{{ContainerID: 0, HostID: os.Getgid(), Size: 1}},
	}
	out, err := cmd.CombinedOutput()
	if err != nil || !bytes.Contains(out, []byte("--- PASS: "+t.Name())) {
		t.Fatalf(
			"%v; it needs to mount a small disk: run it as root, or allow user name spaces (sysctl kernel.unprivileged_userns_clone=1)\n%s", err, out)
	}
	return false
}

// smallDisk mounts a small disk in memory.
func smallDisk(t *testing.T, size string) string {
	t.Helper()
	dir, err := os.MkdirTemp("", "disk")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = os.Remove(dir) })
	if err := syscall.Mount("tmpfs", dir, "tmpfs", 0, "size="+size); err != nil {
		t.Fatalf("mount a small disk: %v; run this test as root with the right to mount", err)
	}
	t.Cleanup(func() {
		if err := syscall.Unmount(dir, syscall.MNT_DETACH); err != nil {
			t.Error(err)
		}
	})
	return dir
}

// fillDisk leaves no room, and says how to make it again.
func fillDisk(t *testing.T, dir string) (makeRoom func()) {
	t.Helper()
	ballast, err := os.Create(filepath.Join(dir, "ballast"))
	if err != nil {
		t.Fatal(err)
	}
	for block := make([]byte, 4096); err == nil; {
		_, err = ballast.Write(block)
	}
	if !errors.Is(err, syscall.ENOSPC) {
		t.Fatal(err)
	}
	return func() {
		if err := errors.Join(ballast.Close(), os.Remove(ballast.Name())); err != nil {
			t.Fatal(err)
		}
	}
}

// status gives the HTTP status and the body of an answer, whatever it is.
func status(t *testing.T, url string) (int, string) {
	t.Helper()
	resp, err := http.Get(url)
	if err != nil {
		t.Fatal(err)
	}
	defer resp.Body.Close()
	text, err := io.ReadAll(resp.Body)
	if err != nil {
		t.Fatal(err)
	}
	return resp.StatusCode, string(text)
}

// The disk fills up in the middle of a sweep: the sweep, the live view and the metrics go on, the page says what is
// wrong, and once there is room everything is stored, nothing missing.
func TestADiskThatFillsUpLosesNothing(t *testing.T) {
	t.Parallel()
	if !mayMount(t) {
		return
	}
	disk := smallDisk(t, "4m")
	m := startOther(t, "--rate", "1000", "--encoder-rate", "1000", "--seconds", "6", "--turns", "2.05")
	s := newShopOn(t, disk, encoderPorts(m.Paths.Indicator, m.Paths.Encoder))
	s.daemon(t)
	waitState(t, s, "both ports live", live)
	sw := program(t, "sweep", "--config", s.config, "--turns", "2", "--json")
	waitState(t, s, "a sweep", func(snap *api.Snapshot) bool { return snap.Sweep.Phase == api.PhaseWaiting })
	m.turn(t)
	waitState(t, s, "stored readings", func(snap *api.Snapshot) bool { return snap.Sweep.Stored > 500 })
	makeRoom := fillDisk(t, disk)
	var stored, seen int
	waitState(t, s, "the trouble shown", func(snap *api.Snapshot) bool {
		stored, seen = snap.Sweep.Stored, snap.Sweep.Readings
		return !snap.Store.OK && strings.Contains(snap.Store.Error, "free some space")
	})
	waitState(t, s, "the live view going on", func(snap *api.Snapshot) bool {
		return snap.Sweep.Readings > seen+1000
	})
	if text := get(t, "http://"+s.page+"/metrics"); !strings.Contains(text, `tramd_store_ok{machine="linnet"} 0`) ||
		!strings.Contains(text, "tramd_indicator_metres{") {
		t.Errorf("metrics with a full disk:\n%s", text)
	}
	if code, text := status(t, "http://"+s.page+"/healthz"); code != http.StatusServiceUnavailable ||
		!strings.Contains(text, "no room left") {
		t.Errorf("health with a full disk: %d %s", code, text)
	}
	waitState(t, s, "its end, none of the rest stored", func(snap *api.Snapshot) bool {
		return snap.Sweep.Phase == api.PhaseIdle && snap.HeldBack() != nil && snap.HeldBack().Stored <= stored+1000
	})
	// the person at the terminal has a result, and knows that it is not stored
	if got := sw.wait(); got != exitOutside {
		t.Fatalf("exit status %d: %s", got, sw.err.String())
	}
	if text := sw.err.String(); !strings.Contains(text, "it is not stored: the daemon holds it in memory") {
		t.Errorf("the sweep does not say that it is not stored: %s", text)
	}
	if _, text := status(t, "http://"+s.page+"/api/v1/runs/1"); !strings.Contains(text, `"unstored":true`) {
		t.Errorf("the run is shown as stored: %.500s", text)
	}
	if code, text := status(t, "http://"+s.page+"/api/v1/runs"); code != http.StatusOK ||
		!strings.Contains(text, `"id":1`) {
		t.Errorf("the record with a full disk: %d %.300s", code, text)
	}
	makeRoom()
	waitState(t, s, "storing again", func(snap *api.Snapshot) bool {
		return snap.Store.OK && snap.HeldBack() == nil
	})
	var r swept
	if err := json.Unmarshal([]byte(sw.out.String()), &r); err != nil {
		t.Fatal(err)
	}
	checkStored(t, s, r)
	if r.Readings < 5000 {
		t.Errorf("%d readings of a sweep of 6 s at 1,000 a second", r.Readings)
	}
}

// The record is found damaged at the start: the daemon starts all the same, with what could be read, and says so.
func TestADaemonStartsOnADamagedRecord(t *testing.T) {
	t.Parallel()
	m := startOther(t, "--rate", "200", "--encoder-rate", "200", "--seconds", "2", "--turns", "1.05")
	s := newShop(t, encoderPorts(m.Paths.Indicator, m.Paths.Encoder))
	d := s.daemon(t)
	waitState(t, s, "both ports live", live)
	sw := program(t, "sweep", "--config", s.config)
	waitState(t, s, "a sweep", func(snap *api.Snapshot) bool { return snap.Sweep.Phase == api.PhaseWaiting })
	m.turn(t)
	sw.wait()
	if err := d.cmd.Process.Signal(syscall.SIGTERM); err != nil {
		t.Fatal(err)
	}
	d.wait()
	path := filepath.Join(s.dir, "tramd.db")
	f, err := os.OpenFile(path, os.O_RDWR, 0)
	if err != nil {
		t.Fatal(err)
	}
	// The table of counts lies in one of the first pages, which a start reads; its page is the one that says so.
	page := make([]byte, 4096)
	spoilt := false
	for n := int64(1); n < 30 && !spoilt; n++ {
		if _, err := f.ReadAt(page, n*4096); err != nil {
			t.Fatal(err)
		}
		if text := string(page); strings.Contains(text, "sweepfinished") && !strings.Contains(text, "encoder") &&
			page[0] == 10 {
			clear(page)
			if _, err := f.WriteAt(page, n*4096); err != nil {
				t.Fatal(err)
			}
			spoilt = true
		}
	}
	if err := f.Close(); err != nil || !spoilt {
		t.Fatalf("no page to spoil was found: %v", err)
	}
	d = s.daemon(t)
	waitState(t, s, "both ports live", live)
	if !strings.Contains(d.err.String(), "kept as "+path+".damaged-") {
		t.Errorf("the daemon said %s", d.err.String())
	}
	_, text := status(t, "http://"+s.page+"/metrics")
	if !strings.Contains(text, `tramd_trouble{kind="record",machine="linnet"} 1`) {
		t.Errorf("metrics:\n%s", text)
	}
	if _, text := status(t, "http://"+s.page+"/api/v1/runs/1"); !strings.Contains(text, `"outcome":"finished"`) {
		t.Errorf("run 1 was not saved: %s", text)
	}
}

// Damage that is met while the daemon serves: what only a result holds is fitted again and said; a page that cannot be
// read makes the daemon say that it is not well, hides no run that lies elsewhere, and is cured by the next start.
func TestDamageMetWhileServing(t *testing.T) {
	t.Parallel()
	m := startOther(t, "--rate", "200", "--encoder-rate", "200", "--seconds", "2", "--turns", "1.05")
	s := newShop(t, encoderPorts(m.Paths.Indicator, m.Paths.Encoder))
	d := s.daemon(t)
	waitState(t, s, "both ports live", live)
	sw := program(t, "sweep", "--config", s.config)
	waitState(t, s, "a sweep", func(snap *api.Snapshot) bool { return snap.Sweep.Phase == api.PhaseWaiting })
	m.turn(t)
	sw.wait()
	_, before := status(t, "http://"+s.page+"/api/v1/runs/1")
	if !strings.Contains(before, `"outcome":"finished"`) {
		t.Fatal(before)
	}
	path := filepath.Join(s.dir, "tramd.db")
	// All copies are spoiled: SQLite leaves old ones in the free space of its pages.
	spoil := func(pattern string, change func(db []byte, at int)) {
		t.Helper()
		db, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		copies := 0
		for at := 0; ; copies++ {
			next := bytes.Index(db[at:], []byte(pattern))
			if next < 0 {
				break
			}
			at += next
			change(db, at)
			at += len(pattern)
		}
		if copies == 0 {
			t.Fatalf("no %q in the record", pattern)
		}
		if err := os.WriteFile(path, db, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	stop := func() {
		t.Helper()
		if err := d.cmd.Process.Signal(syscall.SIGTERM); err != nil {
			t.Fatal(err)
		}
		d.wait()
	}
	_, whole := status(t, "http://"+s.page+"/api/v1/runs/1/readings.csv")
	stop() // all is in the file now
	spoil(`"closure_mm":`, func(db []byte, at int) { db[at+13] ^= 1 })
	d = s.daemon(t)
	fitted := func() bool {
		_, text := status(t, "http://"+s.page+"/api/v1/runs/1")
		return strings.Contains(text, `"code":"result_was_damaged"`) && !strings.Contains(text, `"damage":`)
	}
	for began := time.Now(); !fitted(); time.Sleep(50 * time.Millisecond) {
		if time.Since(began) > time.Minute {
			_, text := status(t, "http://"+s.page+"/api/v1/runs/1")
			t.Fatalf("not fitted again: %s\n%s", text, d.err.String())
		}
	}
	if code, text := status(t, "http://"+s.page+"/healthz"); code != 200 {
		t.Errorf("health: %d %s", code, text)
	}
	stop()
	first, err := exec.Command("python3", "-c", `import sqlite3, sys
print(sqlite3.connect(sys.argv[1]).execute("SELECT hex(substr(data, 1, 24)) FROM chunk LIMIT 1").fetchone()[0])`, path).Output()
	if err != nil {
		t.Fatal(err)
	}
	begins, err := hex.DecodeString(strings.TrimSpace(string(first)))
	if err != nil {
		t.Fatal(err)
	}
	// of the readings: a start reads none
	spoil(string(begins), func(db []byte, at int) { clear(db[at/1024*1024 : at/1024*1024+1024]) })
	d = s.daemon(t)
	if code, text := status(t, "http://"+s.page+"/api/v1/runs/1/readings.csv"); code != 500 {
		t.Errorf("the readings: %d %.300s", code, text)
	}
	for began := time.Now(); ; time.Sleep(50 * time.Millisecond) {
		code, text := status(t, "http://"+s.page+"/healthz")
		if code == 503 && strings.Contains(text, "restart the daemon") {
			break
		}
		if time.Since(began) > time.Minute {
			t.Fatalf("health: %d %s", code, text)
		}
	}
	if _, text := status(t, "http://"+s.page+"/metrics"); !strings.Contains(
		text, `tramd_trouble{kind="record",machine="linnet"} 1`) {
		t.Errorf("metrics:\n%s", text)
	}
	if code, text := status(t, "http://"+s.page+"/api/v1/runs"); code != 200 || !strings.Contains(text, `"id":1`) {
		t.Errorf("the list: %d %s", code, text)
	}
	stop()
	d = s.daemon(t)
	if code, text := status(t, "http://"+s.page+"/healthz"); code != 200 || !strings.Contains(text, "kept as") {
		t.Errorf("health after the next start: %d %s", code, text)
	}
	// What is saved is all of it, from an older copy of the page in the file, or the run says how much is missing.
	_, run := status(t, "http://"+s.page+"/api/v1/runs/1")
	code, csv := status(t, "http://"+s.page+"/api/v1/runs/1/readings.csv")
	if code != 200 {
		t.Errorf("the readings after the next start: %d %.300s", code, csv)
	}
	if missing := strings.Contains(run, `"readings_missing":`); missing == (csv == whole) {
		t.Errorf("the run after the next start: missing %v, all readings there %v: %.300s", missing, csv == whole, run)
	}
}

// The disk is full when the daemon starts: it shows and measures, says in health, metrics and page what is wrong and
// that a sweep is not stored, and stores it once there is room.
func TestADaemonStartsOnAFullDisk(t *testing.T) {
	t.Parallel()
	if !mayMount(t) {
		return
	}
	disk := smallDisk(t, "4m")
	m := startOther(t, "--rate", "200", "--encoder-rate", "200", "--seconds", "2", "--turns", "1.05")
	s := newShopOn(t, disk, encoderPorts(m.Paths.Indicator, m.Paths.Encoder))
	makeRoom := fillDisk(t, disk)
	d := s.daemon(t)
	waitState(t, s, "both ports live", live)
	waitState(t, s, "the trouble shown", func(snap *api.Snapshot) bool {
		return !snap.Store.OK && strings.Contains(snap.Store.Error, "free some space") &&
			strings.Contains(snap.Troubles["record"], "free some space")
	})
	if code, text := status(t, "http://"+s.page+"/healthz"); code != http.StatusServiceUnavailable ||
		!strings.Contains(text, "no room left") {
		t.Errorf("health with a full disk: %d %s", code, text)
	}
	text := get(t, "http://"+s.page+"/metrics")
	for _, want := range []string{`tramd_store_ok{machine="linnet"} 0`,
		`tramd_trouble{kind="record",machine="linnet"} 1`, "tramd_indicator_metres{"} {
		if !strings.Contains(text, want) {
			t.Errorf("no %s in the metrics:\n%s", want, text)
		}
	}
	if code, _ := status(t, "http://"+s.page+"/"); code != http.StatusOK {
		t.Errorf("the page: %d", code)
	}
	if code, text := status(t, "http://"+s.page+"/api/v1/runs"); code != http.StatusInsufficientStorage ||
		!strings.Contains(text, "free some space") {
		t.Errorf("the list of a record that is not there: %d %s", code, text)
	}
	sw := program(t, "sweep", "--config", s.config, "--json")
	waitState(t, s, "a sweep", func(snap *api.Snapshot) bool { return snap.Sweep.Phase == api.PhaseWaiting })
	m.turn(t)
	waitState(t, s, "its end", func(snap *api.Snapshot) bool {
		return snap.HeldBack() != nil && snap.Sweep.Phase == api.PhaseIdle
	})
	sw.wait()
	var r swept
	if err := json.Unmarshal([]byte(sw.out.String()), &r); err != nil || r.Run != 1 ||
		!strings.Contains(sw.out.String(), `"code":"not_stored"`) {
		t.Fatalf("%v: %s\n%s\n%s", err, sw.out.String(), sw.err.String(), d.err.String())
	}
	if text := get(t, "http://"+s.page+"/metrics"); strings.Contains(text, "tramd_last_check_timestamp_seconds{") {
		t.Errorf("the metrics speak of a check that is not stored:\n%s", text)
	}
	if n := strings.Count(get(t, "http://"+s.page+"/api/v1/runs/1/readings.csv"), "\n"); n <= r.Readings {
		t.Errorf("%d lines of readings that are in memory alone, %d fitted", n, r.Readings)
	}
	makeRoom()
	for began := time.Now(); !strings.Contains(d.err.String(), "there is room for the record now"); time.Sleep(
		50 * time.Millisecond) {
		if time.Since(began) > 60*time.Second {
			t.Fatal("the record is not opened")
		}
	}
	for began := time.Now(); ; time.Sleep(50 * time.Millisecond) { // the parts restart, which ends every stream
		resp, err := http.Get("http://" + s.page + "/healthz")
		if err == nil {
			resp.Body.Close()
			if resp.StatusCode == http.StatusOK {
				break
			}
		}
		if time.Since(began) > 60*time.Second {
			t.Fatalf("not well again: %v %+v", err, resp)
		}
	}
	waitState(t, s, "both ports live", func(snap *api.Snapshot) bool {
		return snap.Store.OK && snap.Troubles["record"] == "" && live(snap)
	})
	waitState(t, s, "the run stored", func(snap *api.Snapshot) bool {
		return snap.HeldBack() == nil && snap.Last != nil
	})
	checkStored(t, s, r)
}

// A copy of tramd.db alone, taken beside the running daemon some seconds after a sweep, holds that sweep.
func TestACopyOfTheFileAloneHoldsTheSweep(t *testing.T) {
	t.Parallel()
	m := startOther(t, "--rate", "200", "--encoder-rate", "200", "--seconds", "2", "--turns", "1.05")
	s := newShop(t, encoderPorts(m.Paths.Indicator, m.Paths.Encoder))
	s.daemon(t)
	waitState(t, s, "both ports live", live)
	sw := program(t, "sweep", "--config", s.config)
	waitState(t, s, "a sweep", func(snap *api.Snapshot) bool { return snap.Sweep.Phase == api.PhaseWaiting })
	time.Sleep(11 * time.Second) // a sweep takes longer than the daemon looks away
	m.turn(t)
	sw.wait()
	copied := filepath.Join(t.TempDir(), "copy.db")
	for began := time.Now(); ; time.Sleep(500 * time.Millisecond) {
		text, err := os.ReadFile(filepath.Join(s.dir, "tramd.db"))
		if err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(copied, text, 0o600); err != nil {
			t.Fatal(err)
		}
		out, err := exec.Command("python3", "-c", `import sqlite3, sys
print(sqlite3.connect("file:" + sys.argv[1] + "?immutable=1", uri=True).execute("SELECT outcome, readings FROM run").fetchall())`, copied).CombinedOutput()
		if err == nil && strings.Contains(string(out), "finished") {
			return
		}
		if time.Since(began) > 40*time.Second {
			t.Fatalf("the copy holds %s (%v)", out, err)
		}
	}
}

// The look for known vulnerabilities takes the toolchain of the Makefile, also when it is begun by hand.
func TestTheVulnerabilityCheckTakesTheMakefilesToolchain(t *testing.T) {
	t.Parallel()
	makefile, err := os.ReadFile("../../Makefile")
	if err != nil {
		t.Fatal(err)
	}
	_, closed, _ := strings.Cut(string(makefile), "CLOSED   := ")
	closed, _, _ = strings.Cut(closed, "\n")
	dir := t.TempDir()
	fake, said := filepath.Join(dir, "go"), filepath.Join(dir, "said")
	if err := os.WriteFile(fake, []byte("#!/bin/sh\necho \"$1 $GOTOOLCHAIN\" >>"+said+"\n"), 0o700); err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command("./vulncheck.sh")
	cmd.Env = append(os.Environ(), "GO="+fake, "GOTOOLCHAIN=local")
	if out, err := cmd.CombinedOutput(); err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	text, err := os.ReadFile(said)
	if err != nil || closed == "" || !strings.Contains(string(text), "run "+closed+"\n") {
		t.Errorf("it ran %q with %v, want the toolchain %q", text, err, closed)
	}
}
