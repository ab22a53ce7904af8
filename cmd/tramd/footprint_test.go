package main

import (
	"errors"
	"fmt"
	"math"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"tramd/store"
	"tramd/store/storetest"
	"tramd/sweep"
	"tramd/sweep/mixed"
	"tramd/sweep/units"
)

// tenYears makes a record of hourly checks of some runs, the last an hour ago, with two hundred readings each.
func tenYears(tb testing.TB, path string, runs int) {
	tb.Helper()
	ctx := tb.Context()
	s, err := store.Open(ctx, path, store.Options{})
	if err != nil {
		tb.Fatal(err)
	}
	tol, err := units.ParseTolerance("0.02/300")
	if err != nil {
		tb.Fatal(err)
	}
	setup := sweep.Setup{Machine: "linnet", AngleSource: "encoder", Tolerance: tol,
		Indicators: []sweep.Indicator{{Name: "arm", RadiusMM: 120, RadiusUMM: 0.1, ResolutionMM: 0.001}}}
	var pts []sweep.Point
	for i := range 200 {
		th := float64(i) / 195 * 2 * math.Pi
		pts = append(pts, sweep.Point{T: float64(i) / 20, Angle: th,
			Reading: math.Round((0.3+0.004*math.Cos(th)+0.001*math.Sin(9*th))*1000) / 1000})
	}
	res, err := mixed.FitWith(pts, setup, mixed.Options{})
	if err != nil {
		tb.Fatal(err)
	}
	at := time.Now().Add(-time.Hour)
	id, err := s.BeginRun(ctx, store.NewRun{Kind: "sweep", Purpose: "check", Setup: setup, StartedAt: at,
		ClockSet: true})
	if err != nil {
		tb.Fatal(err)
	}
	if err := s.AppendPoints(ctx, id, pts); err != nil {
		tb.Fatal(err)
	}
	if err := s.FinishRun(ctx, id, store.Finished, at.Add(10*time.Second), "", &res); err != nil {
		tb.Fatal(err)
	}
	if err := s.Close(); err != nil {
		tb.Fatal(err)
	}
	if err := storetest.Multiply(ctx, path, runs); err != nil {
		tb.Fatal(err)
	}
}

// BenchmarkReady is how long the real daemon takes from its start until it answers, on an empty record and on one of
// ten years of hourly checks, side by side; and what it holds in memory once it has been idle for a while.
//
// It reports resident memory in two parts: the daemon's own, and that of the program's file, which the kernel shares
// and takes back as it likes.
func BenchmarkReady(b *testing.B) {
	built := exec.Command("make", "-C", "../..", "build")
	if out, err := built.CombinedOutput(); err != nil {
		b.Fatalf("%v\n%s", err, out)
	}
	tramd := filepath.Join("..", "..", "bin", "tramd")
	for _, years := range []int{0, 10} {
		b.Run(fmt.Sprintf("years-%d", years), func(b *testing.B) {
			dir := b.TempDir()
			path := filepath.Join(dir, "tramd.db")
			if years > 0 {
				tenYears(b, path, years*365*24)
			}
			config, socket := filepath.Join(dir, "linnet.toml"), filepath.Join(dir, "s")
			text := fmt.Sprintf(
				"[machine]\nname = \"linnet\"\ntolerance = \"0.02/300\"\n[store]\npath = %q\n[control]\nsocket = %q\n[http]\nlisten = \"127.0.0.1:0\"\n%s",
				path, socket, encoderPorts("/dev/none-1", "/dev/none-2"))
			if err := os.WriteFile(config, []byte(text), 0o600); err != nil {
				b.Fatal(err)
			}
			var took, cpu time.Duration
			own, file := 0, 0
			for n := 0; b.Loop(); n++ {
				began := time.Now()
				p := exec.Command(tramd, "run", "--config", config)
				if err := p.Start(); err != nil {
					b.Fatal(err)
				}
				for {
					if c, err := net.Dial("unix", socket); err == nil {
						_ = c.Close()
						break
					}
					if time.Since(began) > 20*time.Second {
						_ = p.Process.Kill()
						b.Fatal("it does not answer")
					}
					time.Sleep(500 * time.Microsecond)
				}
				took += time.Since(began)
				if n == 0 {
					time.Sleep(8 * time.Second) // what only the start needed is given back after five
					own, file = residentKB(b, p.Process.Pid)
				}
				if err := errors.Join(p.Process.Signal(syscall.SIGTERM), p.Wait()); err != nil {
					b.Fatal(err)
				}
				cpu += p.ProcessState.UserTime() + p.ProcessState.SystemTime()
			}
			b.ReportMetric(float64(took.Milliseconds())/float64(b.N), "ms-to-ready")
			b.ReportMetric(float64(cpu.Milliseconds())/float64(b.N), "cpu-ms")
			b.ReportMetric(float64(own)/1024, "MB-own-idle")
			b.ReportMetric(float64(file)/1024, "MB-of-files-idle")
			if st, err := os.Stat(path); err == nil {
				b.ReportMetric(float64(st.Size())/1e6, "MB-record")
			}
			b.ReportMetric(0, "ns/op")
		})
	}
}

// residentKB is what a process holds in memory, of its own and of files (proc(5), /proc/pid/status).
func residentKB(tb testing.TB, pid int) (own, file int) {
	tb.Helper()
	text, err := os.ReadFile(fmt.Sprintf("/proc/%d/status", pid))
	if err != nil {
		tb.Fatal(err)
	}
	for line := range strings.Lines(string(text)) {
		_, _ = fmt.Sscanf(line, "RssAnon: %d", &own) // of most lines it is not
		_, _ = fmt.Sscanf(line, "RssFile: %d", &file)
	}
	if own == 0 || file == 0 {
		tb.Fatalf("the kernel does not say:\n%s", text)
	}
	return own, file
}

// A record of ten years answers like one of a day: this is the same file, at a fiftieth of its size, held to its
// contents.
func TestARecordOfYearsIsServed(t *testing.T) {
	t.Parallel()
	s := newShop(t, encoderPorts("/dev/none-1", "/dev/none-2"))
	tenYears(t, filepath.Join(s.dir, "tramd.db"), 1752)
	s.daemon(t)
	if n := metric(t, s, `tramd_runs_total{kind="sweep",machine="linnet",outcome="finished"}`); n != 1752 {
		t.Errorf("%v runs", n)
	}
	if status, out, errOut := call(t, "show", "876", "--config", s.config); status != exitDone || out == "" {
		t.Errorf("%d %s %s", status, out, errOut)
	}
}
