package main

import (
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"tramd/cmd/tramd/internal/api"
)

// The rail answers to its bolts by less than their description says. The second move knows it, and ends with both ends
// alike; the head's adviser knows nothing of rails.
func TestARailIsTruedByItsBolts(t *testing.T) {
	t.Parallel()
	s := newShop(t, encoderPorts("/dev/none-1", "/dev/none-2"))
	s.addTo(t, shopAdjusters+`[[adjuster]]
name = "rear bolts"
kind = "shim"
spacing_mm = 400.0
moves = "slope"
step = 0.001
[[adjuster]]
name = "jack"
kind = "screw"
pitch_mm = 1.0
lever_mm = 300.0
moves = "twist"
[[traverse]]
name = "left rail"
positions_mm = [0, 100, 200, 300, 400, 500]
adjusters = ["rear bolts"]
[[traverse]]
name = "plate"
positions_mm = [0, 150, 300]
lines_mm = [0, 160]
adjusters = ["jack"]
[clock]
trusted = true
`)
	s.daemon(t)
	if status, _, errOut := call(t, "advise", "--config", s.config, "--of", "left rail"); status != exitFailed ||
		!strings.Contains(errOut, "measure left rail first with `tramd traverse \"left rail\"`") {
		t.Errorf("before the first measurement: %d, %s", status, errOut)
	}
	if status, _, errOut := call(t, "advise", "--config", s.config, "--of", "right rail"); status != exitFailed ||
		!strings.Contains(errOut, "there are left rail, plate") {
		t.Errorf("one that is not there: %d, %s", status, errOut)
	}
	rng := rand.New(rand.NewPCG(8, 8))
	const answers = 2.1 // mm/m for a mm; described as 2.5
	slope := 0.41
	var a api.JointAdvice
	for move := range 5 {
		csv := "t_s,position_mm,reading_mm\n"
		for i := range 11 {
			x := 100 * (5 - math.Abs(5-float64(i)))
			csv += fmt.Sprintf("%d,%g,%.4f\n", 8*i, x, 0.2+x/1000*slope+0.0007*rng.NormFloat64())
		}
		path := filepath.Join(s.dir, fmt.Sprintf("rail-%d.csv", move))
		if err := os.WriteFile(path, []byte(csv), 0o600); err != nil {
			t.Fatal(err)
		}
		if status, _, errOut := call(t, "import", "--config", s.config, "--name", "left rail", "--at",
			time.Now().Format(time.RFC3339Nano), path); status == exitFailed {
			t.Fatal(errOut)
		}
		status, out, errOut := call(t, "advise", "--config", s.config, "--of", "left rail", "--json")
		a = api.JointAdvice{}
		if err := json.Unmarshal([]byte(out), &a); status != exitDone || err != nil {
			t.Fatalf("%d, %v, %s", status, err, errOut)
		}
		if a.Done {
			break
		}
		if len(a.Moves) != 1 || a.Moves[0].Adjuster != "rear bolts" || len(a.Aims) != 1 || a.Aims[0].FarMM != 500 ||
			math.Abs(*a.Aims[0].NowMM-0.5*slope) > 0.005 {
			t.Fatalf("%+v", a)
		}
		if status, _, errOut := call(t, "event", "--config", s.config, "adjusted", "--move",
			fmt.Sprintf("rear bolts=%g", a.Moves[0].By)); status != exitDone {
			t.Fatal(errOut)
		}
		slope += answers * a.Moves[0].By
	}
	if !a.Done || math.Abs(slope) > 0.0667 {
		t.Errorf("the rail is left at %.3f mm/m: %+v", slope, a)
	}
	if l := a.Learned[0]; math.Abs(l.Tilt-answers) > 0.3 || strings.Contains(a.Why, "axes") ||
		!strings.Contains(a.Why, "The slope is within the tolerance") {
		t.Errorf("%+v: %s", l, a.Why)
	}
	if _, out, _ := call(t, "advise", "--config", s.config); strings.Contains(out, "rear bolts") {
		t.Errorf("the head is moved by its own adjusters: %s", out)
	}
}
