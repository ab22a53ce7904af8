package main

import (
	"encoding/json"
	"fmt"
	"io"
	"math"
	"strings"
	"testing"
	"time"

	"tramd/cmd/tramd/internal/api"
)

// waitSaid waits until a program has written something.
func waitSaid(t *testing.T, p *process, want string) {
	t.Helper()
	for range 1500 {
		if strings.Contains(p.err.String(), want) {
			return
		}
		time.Sleep(10 * time.Millisecond)
	}
	t.Fatalf("it did not say %q; it said %s", want, p.err.String())
}

// An encoder whose zero points to the back gave a truth of +0.350 and -0.220 as -0.220 and -0.350, without a word. Now
// a sweep without a zero has a size and no direction, and two presses at the terminal give the truth.
func TestAnEncoderWhoseZeroPointsElsewhereIsNotBelieved(t *testing.T) {
	t.Parallel()
	a := startHandArm(t, 0.350, -0.220, 90)
	ports := strings.ReplaceAll(encoderPorts(a.indicator, a.encoder), "zero_deg = 0.0\n", "")
	s := newShop(t, strings.ReplaceAll(ports, "4096", "3600"))
	s.daemon(t)
	waitState(t, s, "both ports live", live)

	sw := program(t, "sweep", "--config", s.config, "--json")
	waitState(t, s, "a sweep", func(snap *api.Snapshot) bool { return snap.Sweep.Phase == api.PhaseWaiting })
	a.turn(t, 370, 120)
	if got := sw.wait(); got != exitOutside {
		t.Errorf("status %d: %s", got, sw.err.String())
	}
	if !strings.Contains(sw.err.String(), "has not been established yet") {
		t.Errorf("nothing is said of the zero: %s", sw.err.String())
	}
	checkSizeOnly(t, "sweep", sw.out.String())
	_, shown, _ := call(t, "show", "1", "--config", s.config, "--json")
	checkSizeOnly(t, "show", shown)
	if _, out, _ := call(t, "show", "1", "--config", s.config); !strings.Contains(out, "direction not known") ||
		strings.Contains(out, "tilt ") {
		t.Errorf("show: %s", out)
	}
	if _, out, _ := call(t, "runs", "--config", s.config); !strings.Contains(out, "direction not known") {
		t.Errorf("runs: %s", out)
	}
	if _, out, _ := call(t, "runs", "--config", s.config, "--json"); !strings.Contains(out, `"zero_unknown"`) {
		t.Errorf("runs --json: %s", out)
	}
	if _, out, _ := call(t, "advise", "--config", s.config); !strings.Contains(out, "set the zero") ||
		strings.Contains(out, "Move ") {
		t.Errorf("advise: %s", out)
	}
	if text := get(t, "http://"+s.page+"/metrics"); strings.Contains(text, `tramd_lean_radians{axis="tilt"`) {
		t.Error("the metrics claim a tilt")
	}

	p := programIn(t, "sweep", "--config", s.config, "--set-zero", "--json")
	waitSaid(t, p.process, "Point the arm right")
	a.turn(t, 360, 120)
	io.WriteString(p.in, "\n")
	waitSaid(t, p.process, "towards the back")
	a.turn(t, 445, 120)
	io.WriteString(p.in, "\n")
	waitSaid(t, p.process, "The zero is set")
	waitState(t, s, "a sweep", func(snap *api.Snapshot) bool { return snap.Sweep.Phase == api.PhaseWaiting })
	a.turn(t, 820, 120)
	if got := p.wait(); got != exitOutside {
		t.Errorf("status %d: %s", got, p.err.String())
	}
	var r swept
	if err := json.Unmarshal([]byte(p.out.String()), &r); err != nil || r.Tilt == nil || r.Nod == nil {
		t.Fatalf("%v in %s", err, p.out.String())
	}
	if math.Abs(r.Tilt.MMPerM-0.350) > 3*r.Tilt.U || math.Abs(r.Nod.MMPerM+0.220) > 3*r.Nod.U || r.Tilt.U > 0.05 {
		t.Errorf("tilt %+v, nod %+v; truth +0.350, -0.220", r.Tilt, r.Nod)
	}
	if body := get(t, "http://"+s.page+"/api/v1/runs/2"); !strings.Contains(body, `"from":"pointed"`) ||
		!strings.Contains(body, `"zero":{`) {
		t.Errorf("the run does not say who set its zero: %.600s", body)
	}
}

func checkSizeOnly(t *testing.T, who, text string) {
	t.Helper()
	var r struct {
		Tilt, Nod *sweptAxis
		Lean      *struct {
			MMPerM  float64  `json:"mm_per_m"`
			Azimuth *float64 `json:"azimuth_deg"`
		}
		Warnings []struct{ Code string }
	}
	if who == "show" { // the run, with its result inside
		var run struct{ Result json.RawMessage }
		if json.Unmarshal([]byte(text), &run) == nil && run.Result != nil {
			text = string(run.Result)
		}
	}
	if err := json.Unmarshal([]byte(text), &r); err != nil {
		t.Fatalf("%s: %v in %s", who, err, text)
	}
	if r.Tilt != nil || r.Nod != nil || r.Lean == nil || r.Lean.Azimuth != nil ||
		math.Abs(r.Lean.MMPerM-math.Hypot(0.35, 0.22)) > 0.02 ||
		!strings.Contains(fmt.Sprint(r.Warnings), "zero_unknown") {
		t.Errorf("%s: %s", who, text)
	}
}
