package main

import (
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"tramd/cmd/tramd/internal/api"
)

// A recorded sweep whose angles are not known is fitted by the speed that its own wave shows.
func TestFitOfARecordWithoutAngles(t *testing.T) {
	s := newShop(
		t,
		"[[indicator]]\nname = \"arm\"\nport = \"/dev/serial/by-id/usb-none-if00\"\nradius_mm = 120.0\n[angle]\nsource = \"steady\"\nturns_per_min = 6.2\n")
	const tilt, nod, rpm = 0.35, -0.2, 6.0
	write := func(name, mark string, from float64) string {
		var b strings.Builder
		b.WriteString("# once a turn and a little of the table's own\nt_s,angle_deg,reading_mm\n" + mark)
		for i := range 700 {
			at := from + float64(i)*0.1
			th := rpm / 60 * 2 * math.Pi * (at - from)
			z := 0.3 + 0.12*(tilt*math.Cos(th)+nod*math.Sin(th)) + 0.003*math.Cos(2*th-1) + 0.0005*math.Sin(37.7*at)
			fmt.Fprintf(&b, "%.3f,,%.4f\n", at, z)
		}
		path := filepath.Join(s.dir, name)
		if err := os.WriteFile(path, []byte(b.String()), 0o600); err != nil {
			t.Fatal(err)
		}
		return path
	}
	for _, model := range []string{"full", "plain"} {
		for _, file := range []string{write("no-mark.csv", "", 12), write("marked.csv", "55.000,0,0.3\n", 55)} {
			status, out, errOut := call(t, "fit", "--config", s.config, "--model", model, "--json", file)
			var r swept
			if err := json.Unmarshal([]byte(out), &r); err != nil || r.Tilt == nil || r.Nod == nil {
				t.Fatalf("%s by %s: %d %s %s", file, model, status, out, errOut)
			}
			if math.Abs(r.Tilt.MMPerM-tilt) > 0.01 || math.Abs(r.Nod.MMPerM-nod) > 0.01 || r.Readings < 600 {
				t.Errorf("%s by %s: %+v %+v of %d", file, model, r.Tilt, r.Nod, r.Readings)
			}
			if model == "full" && (math.Abs(r.Tilt.MMPerM-tilt) > 2*r.Tilt.U ||
				math.Abs(r.Nod.MMPerM-nod) > 2*r.Nod.U) {
				t.Errorf("%s: %+v %+v", file, r.Tilt, r.Nod)
			}
		}
	}
	short := filepath.Join(s.dir, "short.csv")
	if err := os.WriteFile(short, []byte("t_s,angle_deg,reading_mm\n0,,0.1\n1,,0.2\n2,,0.1\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	if status, _, errOut := call(t, "fit", "--config", s.config, short); status != exitFailed ||
		!strings.Contains(errOut, "at least 1.5 are needed") {
		t.Errorf("too short: %d %s", status, errOut)
	}
}

// A drive turns the arm of a machine that is not ours, and an index pulse comes once a turn.
func TestConstantTurningOfAMachineThatIsNotOurs(t *testing.T) {
	t.Parallel()
	m := startOther(t, "--tilt", "0.45", "--nod", "-0.62", "--rate", "100", "--encoder-rate", "1000", "--pulses",
		"--turns", "5.3", "--seconds", "8", "--noise", "0.001")
	s := newShop(
		t,
		fmt.Sprintf(
			"[[indicator]]\nname = \"arm\"\nport = %q\nradius_mm = 120.0\n[angle]\nsource = \"steady\"\nport = %q\nmark_deg = 0.0\n", m.Paths.Indicator, m.Paths.Encoder))
	s.daemon(t)
	waitState(t, s, "the indicator", func(snap *api.Snapshot) bool { return snap.Devices[0].State == "live" })
	sw := program(t, "sweep", "--config", s.config, "--turns", "4", "--json")
	waitState(t, s, "a sweep", func(snap *api.Snapshot) bool { return snap.Sweep.Phase == api.PhaseWaiting })
	m.turn(t)
	if got := sw.wait(); got != exitOutside {
		t.Errorf("status %d: %s", got, sw.err.String())
	}
	var r swept
	if err := json.Unmarshal([]byte(sw.out.String()), &r); err != nil || r.Tilt == nil || r.Nod == nil {
		t.Fatalf("%v in %q", err, sw.out.String())
	}
	// At 240 degrees a second a computer that stamps 50 ms late is 12 degrees off: what counts is that the directions
	// are not mixed up.
	if math.Abs(r.Tilt.MMPerM-0.45) > 0.2 || math.Abs(r.Nod.MMPerM+0.62) > 0.2 || r.Readings < 400 {
		t.Errorf("tilt %+v nod %+v of %d", r.Tilt, r.Nod, r.Readings)
	}
	_, csv, _ := call(t, "export", "1", "--config", s.config)
	if n := strings.Count(csv, ",,"); n < 400 {
		t.Errorf("%d readings without an angle in the record:\n%.400s", n, csv)
	}
	file := filepath.Join(s.dir, "again.csv")
	if err := os.WriteFile(file, []byte(csv), 0o600); err != nil {
		t.Fatal(err)
	}
	_, out, errOut := call(t, "fit", "--config", s.config, "--json", file)
	var again swept
	if err := json.Unmarshal([]byte(out), &again); err != nil || math.Abs(again.Tilt.MMPerM-r.Tilt.MMPerM) > 1e-3 {
		t.Errorf("fitted again from the export: %s %s, at the time %+v", out, errOut, r.Tilt)
	}
}
