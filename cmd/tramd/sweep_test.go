package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"io"
	"math"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"tramd/cmd/tramd/internal/api"
	"tramd/cmd/tramd/internal/client"
)

// waitState waits until the daemon's state satisfies ok.
func waitState(t *testing.T, s shop, what string, ok func(*api.Snapshot) bool) {
	t.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), time.Minute)
	defer cancel()
	var last api.Snapshot
	cl := s.client(t)
	for {
		err := cl.Live(ctx, func(snap *api.Snapshot) bool { last = *snap; return !ok(snap) })
		switch {
		case err == nil:
			return
		// its parts may be restarting
		case ctx.Err() == nil && (errors.Is(err, client.ErrGone) || errors.Is(err, client.ErrNoDaemon)):
			time.Sleep(50 * time.Millisecond)
		default:
			t.Fatalf("waiting for %s: %v; last state %+v", what, err, last.Sweep)
		}
	}
}

func live(snap *api.Snapshot) bool {
	for _, d := range snap.Devices {
		if d.State != "live" {
			return false
		}
	}
	return true
}

type sweptAxis struct {
	MMPerM  float64 `json:"mm_per_m"`
	U       float64 `json:"U_mm_per_m"`
	Verdict string
}

type swept struct {
	Run       int64
	Tilt, Nod *sweptAxis
	Readings  int
	Verdict   string
	Coverage  float64 `json:"coverage_deg"`
}

// The machine is a script that shares no code with tramd; its truth is in its flags.
func TestASweepOfAMachineThatIsNotOursGivesItsTruth(t *testing.T) {
	t.Parallel()
	for _, tc := range []struct {
		name      string
		tilt, nod float64
		args      []string
		status    int
	}{
		{"outside", 0.45, -0.62, []string{"--noise", "0.001", "--junk", "200"}, exitOutside},
		{"clockwise, inches, LF", -0.30, 0.21, []string{"--turns", "-2.02", "--unit", "in", "--resolution", "0.00127",
			"--eol", "lf"}, exitOutside},
		{"within", 0.02, -0.01, []string{"--noise", "0.0005", "--eol", "cr"}, exitDone},
	} {
		t.Run(tc.name, func(t *testing.T) {
			args := append([]string{"--tilt", fmtFloat(tc.tilt), "--nod", fmtFloat(tc.nod), "--rate", "200",
				"--encoder-rate", "250",
				// faster, a busy computer's 20 ms would be five degrees
				"--seconds", "6", "--turns", "2.02"}, tc.args...)
			m := startOther(t, args...)
			s := newShop(t, encoderPorts(m.Paths.Indicator, m.Paths.Encoder))
			d := s.daemon(t)
			waitState(t, s, "both ports live", live)
			sw := program(t, "sweep", "--config", s.config, "--turns", "2", "--json", "--temperature", "21.5")
			waitState(t, s, "a sweep", func(snap *api.Snapshot) bool { return snap.Sweep.Phase == api.PhaseWaiting })
			m.turn(t)
			if got := sw.wait(); got != tc.status {
				t.Errorf("exit status %d, want %d; %s", got, tc.status, sw.err.String())
			}
			var r swept
			if err := json.Unmarshal([]byte(sw.out.String()), &r); err != nil {
				t.Fatalf("%v in %q", err, sw.out.String())
			}
			if r.Run != 1 || r.Tilt == nil || r.Nod == nil || r.Readings < 300 {
				t.Fatalf("result %+v", r)
			}
			for _, a := range []struct {
				name string
				got  *sweptAxis
				want float64
			}{{"tilt", r.Tilt, tc.tilt}, {"nod", r.Nod, tc.nod}} {
				// On a busy computer the angles come unevenly late; that may cost accuracy, but not in silence.
				if d := math.Abs(a.got.MMPerM - a.want); d > 3*a.got.U || d > math.Max(0.02, 1.5*a.got.U) {
					t.Errorf("%s %v ± %v mm/m, truth %v", a.name, a.got.MMPerM, a.got.U, a.want)
				}
			}
			checkStored(t, s, r)
			if body := get(t, "http://"+s.page+"/api/v1/runs/1"); !strings.Contains(body, `"temperature_c":21.5`) {
				t.Errorf("run 1: %s", body)
			}
			if err := d.cmd.Process.Signal(syscall.SIGTERM); err != nil {
				t.Fatal(err)
			}
			if got := d.wait(); got != exitDone {
				t.Errorf("the daemon ended with %d", got)
			}
		})
	}
}

func TestASweepRefusesATemperatureNoMachineHas(t *testing.T) {
	s := newShop(t, encoderPorts("/dev/none-1", "/dev/none-2"))
	status, _, errOut := call(t, "sweep", "--config", s.config, "--temperature", "215")
	if status != exitUsage || !strings.Contains(
		errOut, "--temperature: temperature 215: write the machine's in degrees Celsius, -40 to 80") {
		t.Errorf("status %d: %s", status, errOut)
	}
}

func fmtFloat(x float64) string {
	text, _ := json.Marshal(x) // a number always marshals
	return string(text)
}

// checkStored holds the record against what was printed, by way of the page's own addresses and the commands.
func checkStored(t *testing.T, s shop, r swept) {
	t.Helper()
	body := get(t, "http://"+s.page+"/api/v1/runs/1")
	if !strings.Contains(body, `"outcome":"finished"`) {
		t.Errorf("run 1: %s", body)
	}
	csv := get(t, "http://"+s.page+"/api/v1/runs/1/readings.csv")
	if n := strings.Count(csv, "\n") - 1; n < r.Readings {
		t.Errorf("%d readings stored, %d fitted", n, r.Readings)
	}
	if metrics := get(t, "http://"+s.page+"/metrics"); !strings.Contains(
		metrics, `tramd_runs_total{kind="sweep",machine="linnet",outcome="finished"} 1`) {
		t.Errorf("metrics lack the finished run:\n%s", metrics)
	}
	file := s.dir + "/again.csv"
	if err := os.WriteFile(file, []byte(csv), 0o600); err != nil {
		t.Fatal(err)
	}
	_, out, errOut := call(t, "fit", "--config", s.config, "--json", file)
	var again swept
	if err := json.Unmarshal([]byte(out), &again); err != nil {
		t.Fatalf("%v: %s %s", err, out, errOut)
	}
	if math.Abs(again.Tilt.MMPerM-r.Tilt.MMPerM) > 1e-4 {
		t.Errorf("fitted again from the export: tilt %v, at the time %v", again.Tilt.MMPerM, r.Tilt.MMPerM)
	}
	want := map[string]int{"within": exitDone, "outside": exitOutside, "undecided": exitUndecided}[r.Verdict]
	for _, x := range []struct {
		status int
		line   string
	}{
		{exitDone, "runs"}, {want, "show 1"}, {exitDone, "export 1"}, {exitDone, "export 1 --json"},
		{exitDone, "refit 1"},
		{want, "show 1 --budget"}, {want, "show 1 --json"}, {exitDone, "separate 1 1"},
		{exitDone, "separate 1 1 --json"},
	} {
		if status, out, errOut := call(
			t, append(strings.Fields(x.line), "--config", s.config)...); status != x.status || out == "" {
			t.Errorf("tramd %s: status %d, want %d, %s", x.line, status, x.status, errOut)
		}
	}
}

func get(t *testing.T, url string) string {
	t.Helper()
	resp, err := http.Get(url)
	if err != nil {
		t.Fatal(err)
	}
	defer resp.Body.Close()
	text, err := io.ReadAll(resp.Body)
	if err != nil || resp.StatusCode != http.StatusOK {
		t.Fatalf("GET %s: %s %v", url, resp.Status, err)
	}
	return string(text)
}

func TestCtrlCLeavesTheRunStoredAsAbandoned(t *testing.T) {
	t.Parallel()
	m := startOther(t, "--rate", "200", "--encoder-rate", "200", "--seconds", "20")
	s := newShop(t, encoderPorts(m.Paths.Indicator, m.Paths.Encoder))
	s.daemon(t)
	waitState(t, s, "both ports live", live)
	sw := program(t, "sweep", "--config", s.config)
	waitState(t, s, "a sweep", func(snap *api.Snapshot) bool { return snap.Sweep.Phase == api.PhaseWaiting })
	m.turn(t)
	waitState(t, s, "readings", func(snap *api.Snapshot) bool { return snap.Sweep.Readings > 100 })
	if status, _, errOut := call(t, "sweep", "--config", s.config); status != exitFailed ||
		!strings.Contains(errOut, "run 1 is being taken") {
		t.Errorf("a second sweep: %d %s", status, errOut)
	}
	if err := sw.cmd.Process.Signal(os.Interrupt); err != nil {
		t.Fatal(err)
	}
	if got := sw.wait(); got != exitFailed {
		t.Errorf("exit status %d", got)
	}
	if !strings.Contains(sw.err.String(), "abandoned") {
		t.Errorf("it said %q", sw.err.String())
	}
	_, out, _ := call(t, "runs", "--config", s.config, "--json")
	var r struct {
		Outcome  string
		Readings int
	}
	if err := json.Unmarshal([]byte(out), &r); err != nil || r.Outcome != "abandoned" || r.Readings < 100 {
		t.Errorf("stored: %s %v", out, err)
	}
}

func TestAKilledDaemonLosesNothingItSaidWasStored(t *testing.T) {
	t.Parallel()
	m := startOther(t, "--rate", "500", "--encoder-rate", "500", "--seconds", "20")
	s := newShop(t, encoderPorts(m.Paths.Indicator, m.Paths.Encoder))
	d := s.daemon(t)
	waitState(t, s, "both ports live", live)
	program(t, "sweep", "--config", s.config)
	waitState(t, s, "a sweep", func(snap *api.Snapshot) bool { return snap.Sweep.Phase == api.PhaseWaiting })
	m.turn(t)
	stored := 0
	waitState(t, s, "stored readings", func(snap *api.Snapshot) bool {
		stored = snap.Sweep.Stored
		return stored > 500
	})
	d.kill()
	s.daemon(t)
	_, out, errOut := call(t, "runs", "--config", s.config, "--json")
	var r struct {
		Outcome  string
		Readings int
	}
	if err := json.Unmarshal([]byte(out), &r); err != nil || r.Outcome != "interrupted" || r.Readings < stored {
		t.Errorf("stored after the kill: %s %s; %d readings had been shown as stored", out, errOut, stored)
	}
}

func TestUnpluggedPortsEndTheSweepAndKeepItsReadings(t *testing.T) {
	t.Parallel()
	m := startOther(t, "--rate", "200", "--encoder-rate", "200", "--seconds", "20")
	// The names stay the same when the adapter comes back, as those udev makes do.
	dir := t.TempDir()
	arm, encoder := filepath.Join(dir, "arm"), filepath.Join(dir, "encoder")
	plug := func(m *otherMachine) {
		for link, path := range map[string]string{arm: m.Paths.Indicator, encoder: m.Paths.Encoder} {
			_ = os.Remove(link) // there is none the first time
			if err := os.Symlink(path, link); err != nil {
				t.Fatal(err)
			}
		}
	}
	plug(m)
	s := newShop(t, encoderPorts(arm, encoder))
	s.daemon(t)
	waitState(t, s, "both ports live", live)
	sw := program(t, "sweep", "--config", s.config)
	waitState(t, s, "a sweep", func(snap *api.Snapshot) bool { return snap.Sweep.Phase == api.PhaseWaiting })
	m.turn(t)
	waitState(t, s, "readings", func(snap *api.Snapshot) bool { return snap.Sweep.Readings > 100 })
	m.end()
	waitState(t, s, "the loss", func(snap *api.Snapshot) bool {
		return snap.Devices[0].State != "live" && strings.Contains(snap.Sweep.Say, "Plug it in")
	})
	if metrics := get(t, "http://"+s.page+"/metrics"); strings.Contains(metrics, "tramd_indicator_metres{") ||
		!strings.Contains(metrics, `tramd_device_up{device="arm",machine="linnet"} 0`) {
		t.Errorf("a lost device's reading is still shown:\n%s", metrics)
	}
	plug(startOther(t, "--rate", "200", "--encoder-rate", "200"))
	if got := sw.wait(); got != exitFailed || !strings.Contains(sw.err.String(), "its zero may be lost") {
		t.Errorf("status %d, said %s", got, sw.err.String())
	}
	waitState(t, s, "both ports live again", live)
	_, out, _ := call(t, "show", "1", "--config", s.config)
	if !strings.Contains(out, "failed") || strings.Contains(out, " 0 readings") {
		t.Errorf("stored: %s", out)
	}
}

// A person goes from station to station; the indicator is on a pty, and there is no encoder.
func TestStationsByHand(t *testing.T) {
	t.Parallel()
	ptm, port := openPty(t)
	const tilt, nod = 0.179e-3, -0.25e-3
	var height, stir = make(chan float64, 1), make(chan bool, 1)
	stop := make(chan struct{})
	t.Cleanup(func() { close(stop) })
	go dial(ptm, height, stir, stop)
	s := newShop(t, "[[indicator]]\nname = \"arm\"\nport = \""+port+
		"\"\nradius_mm = 140.0\n[angle]\nsource = \"stations\"\nsettle_s = 0.4\n")
	s.daemon(t)
	waitState(t, s, "the port live", live)
	sw := program(t, "sweep", "--config", s.config, "--json")
	for i, deg := range []float64{0, 90, 180, 270, 360} {
		th := deg * math.Pi / 180
		if i > 0 {
			stir <- true
			time.Sleep(time.Second)
		}
		height <- 0.5 + 140*(tilt*math.Cos(th)+nod*math.Sin(th))
		if i < 4 {
			waitState(t, s, "the station taken", func(snap *api.Snapshot) bool {
				return len(snap.Sweep.Stations) == 5 && snap.Sweep.Stations[i].State == "taken"
			})
		}
	}
	if got := sw.wait(); got != exitOutside {
		t.Errorf("exit status %d: %s", got, sw.err.String())
	}
	var r swept
	if err := json.Unmarshal([]byte(sw.out.String()), &r); err != nil {
		t.Fatalf("%v in %q", err, sw.out.String())
	}
	if math.Abs(r.Tilt.MMPerM-0.179) > 0.005 || math.Abs(r.Nod.MMPerM+0.25) > 0.005 || r.Readings != 5 {
		t.Errorf("result %+v %+v %+v", r, r.Tilt, r.Nod)
	}
}

// dial writes twenty readings a second; while it is stirred it swings as under a hand that turns the arm.
func dial(w io.Writer, height <-chan float64, stir <-chan bool, stop <-chan struct{}) {
	h, stirred := 0.5, false
	tick := time.NewTicker(50 * time.Millisecond)
	defer tick.Stop()
	for n := 0; ; n++ {
		select {
		case h = <-height:
			stirred = false
		case stirred = <-stir:
		case <-stop:
			return
		case <-tick.C:
			x := h
			if stirred {
				x += 0.05 * math.Sin(float64(n))
			}
			var b bytes.Buffer
			b.WriteString(strings.Replace(fmtFloat(math.Round(x*1000)/1000), ".", ",", 1)) // a decimal comma
			b.WriteString(" mm\r\n")
			if _, err := w.Write(b.Bytes()); err != nil {
				return
			}
		}
	}
}
