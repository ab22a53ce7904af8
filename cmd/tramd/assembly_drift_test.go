package main

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// A rail that sinks has its own history: its slope moves, a date is named, and what was moved above it ends nothing.
func TestEachTraverseHasItsOwnDrift(t *testing.T) {
	t.Parallel()
	s := newShop(t, encoderPorts("/dev/none-1", "/dev/none-2"))
	s.addTo(
		t, shopAdjusters+
			"[[traverse]]\nname = \"left rail\"\naxis = \"nod\"\npositions_mm = [0, 100, 200, 300, 400, 500]\ntolerance = \"0.05/300\"\n[clock]\ntrusted = true\n")
	s.daemon(t)
	rng := rand.New(rand.NewPCG(5, 5))
	const perWeek = 0.004 // mm/m
	begun := time.Now().AddDate(0, 0, -7*20)
	for week := range 20 {
		csv := "t_s,position_mm,reading_mm\n"
		for i := range 30 {
			x := float64(i%6) * 100
			csv += fmt.Sprintf("%d,%g,%.4f\n", i, x, 0.2+x/1000*perWeek*float64(week)+0.001*rng.NormFloat64())
		}
		path := filepath.Join(s.dir, fmt.Sprintf("rail-%d.csv", week))
		if err := os.WriteFile(path, []byte(csv), 0o600); err != nil {
			t.Fatal(err)
		}
		status, _, errOut := call(t, "import", "--config", s.config, "--name", "left rail", "--tolerance", "0.05/300",
			"--at", begun.AddDate(0, 0, 7*week).Format(time.RFC3339), path)
		if status == exitFailed || status == exitUsage {
			t.Fatalf("import: exit status %d: %s", status, errOut)
		}
	}
	if status, _, errOut := call(t, "event", "--config", s.config, "adjusted", "--move",
		"swing=-0.2"); status != exitDone {
		t.Fatal(errOut)
	}
	status, out, errOut := call(t, "drift", "--config", s.config, "--of", "left rail")
	if status == exitFailed || status == exitUsage {
		t.Fatalf("exit status %d: %s", status, errOut)
	}
	var level, rate float64
	for _, line := range strings.Split(out, "\n") {
		if at := strings.Index(line, "moving by "); at > 0 && strings.Contains(line, "nod") {
			fmt.Sscanf(strings.TrimSpace(line[strings.Index(line, "nod")+3:]), "%f", &level)
			fmt.Sscanf(line[at+len("moving by "):], "%f", &rate)
		}
	}
	if math.Abs(rate-perWeek/7) > 0.3*perWeek/7 || math.Abs(level-19*perWeek) > 0.02 ||
		!strings.Contains(out, "20 checks") || !strings.Contains(out, "the slope of left rail") ||
		!strings.Contains(out, "next check") {
		t.Errorf("level %v, rate %v:\n%s", level, rate, out)
	}
	metrics := get(t, "http://"+s.page+"/metrics")
	for _, want := range []string{`tramd_assembly_next_check_timestamp_seconds{machine="linnet",measurement="traverse",name="left rail"} `,
		`tramd_assembly_alarm{kind="trend",machine="linnet",measurement="traverse",name="left rail"} `} {
		if !strings.Contains(metrics, want) {
			t.Errorf("no %s in\n%s", want, metrics)
		}
	}
	if status, out, _ := call(t, "job", "--text", "--config", s.config); status != exitDone ||
		!strings.Contains(out, "next check by ") {
		t.Errorf("job: %d, %s", status, out)
	}
	if status, _, errOut := call(t, "drift", "--config", s.config, "--of", "right rail"); status != exitFailed ||
		!strings.Contains(errOut, "no dated check of \"right rail\"") {
		t.Errorf("one that is not there: %d, %s", status, errOut)
	}
}
