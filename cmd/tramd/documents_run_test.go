package main

import (
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"tramd/cmd/tramd/internal/api"
)

// provenElsewhere are the shown commands that need more than this test's bench: a terminal, a pair, a machine that
// moves. Each has a test of its own that runs it.
var provenElsewhere = map[string]string{
	"tramd setup linnet.toml":                                         "TestSetupWritesAConfigurationThatIsRightAndOverwritesNone",
	"tramd identify /dev/serial/by-id/usb-indicator":                  "TestIdentifyFindsEachThroughAPort",
	"tramd listen --port /dev/serial/by-id/usb-indicator":             "TestListenShowsRawAndDecodedSideBySide",
	"tramd record --port /dev/serial/by-id/usb-indicator arm.capture": "", // once the daemon has let go of the port
	"tramd password": "TestPasswordGivesAHashTheConfigurationTakes",
	"tramd sweep --config linnet.toml --half-turn tilt": "TestAHalfTurnByHandZeroesAPair",
	"tramd watch --config linnet.toml --bar-moved":      "TestAHalfTurnByHandZeroesAPair",
	"tramd program --config linnet.toml --dry-run":      "TestAProgramSweepsThereAndBack",
	"tramd arm --config linnet.toml --hours 8":          "TestPlannedMotionNeedsAnArmingOfItsOwn",
	"tramd disarm --config linnet.toml":                 "TestPlannedMotionNeedsAnArmingOfItsOwn",
	"tramd export --openmetrics --every 4m > linnet.om": "TestTheRecordGoesIntoPrometheus",
	"tramd run --config linnet.toml":                    "", // the daemon of this test
	// taken twice below, while the spindle turns
	"tramd sweep --config linnet.toml":                                        "",
	"tramd restore --config linnet.toml /mnt/stick/tramd/tramd-2026-03-02.db": "", // last, with the daemon stopped
}

// A reader can type what the documents show: each command runs on a bench whose machine is a script that shares no code
// with tramd.
func TestWhatTheDocumentsShowRuns(t *testing.T) {
	t.Parallel()
	m := startOther(t, "--tilt", "0.12", "--nod", "-0.08", "--rate", "100", "--encoder-rate", "200", "--seconds", "3",
		"--turns", "1.1", "--noise", "0.0005")
	s := newShop(t, encoderPorts(m.Paths.Indicator, m.Paths.Encoder))
	in := func(name string) string { return filepath.Join(s.dir, name) }
	appendTo(t, s.config, "[backup]\nto = \""+in("stick")+
		"\"\nsame_disk = true\n[[adjuster]]\nname = \"swing\"\ntilt_mm_per_m = 4.2\nnod_mm_per_m = 0.0\nunit = \"mm\"\n"+
		"[[adjuster]]\nname = \"lower shim\"\ntilt_mm_per_m = 0.0\nnod_mm_per_m = 7.1\nunit = \"mm\"\n"+
		"[[adjuster]]\nname = \"rear bolts\"\nkind = \"shim\"\nspacing_mm = 400.0\nmoves = \"slope\"\n"+
		"[[traverse]]\nname = \"left-rail\"\npositions_mm = [0, 100, 200]\nadjusters = [\"rear bolts\"]\n")
	if err := os.Mkdir(in("stick"), 0o700); err != nil {
		t.Fatal(err)
	}
	recorded, err := os.ReadFile("../../testdata/sweeps/linnet_dense.csv")
	if err != nil {
		t.Fatal(err)
	}
	docs := documents(t)
	for name, text := range map[string]string{
		"sweep.csv": string(recorded), "rail.csv": aTraverse, "thickness.csv": aTraverse, "shank.csv": aBar,
		"turned.csv": aBar, "head.csv": aTravel,
		"relations.json": jsonShown(t, docs["docs/files.md"]),
		"checks.csv": "time,tilt_mm_per_m,tilt_u_mm_per_m,nod_mm_per_m,nod_u_mm_per_m,spindle_hours,event\n2026-01-05T06:30:00Z,0.01,0.004,0.02,0.004,,\n" +
			"2026-01-12T06:30:00Z,0.012,0.004,0.021,0.004,,\n2026-01-13T06:30:00Z,,,,,,adjusted\n2026-01-19T06:30:00Z,0.002,0.004,0.001,0.004,,\n",
	} {
		if err := os.WriteFile(in(name), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}

	d := s.daemon(t)
	waitState(t, s, "both ports live", live)
	for range 2 {
		sw := program(t, "sweep", "--config", s.config)
		// the second may see the end of the first one's turn
		waitState(t, s, "a sweep", func(snap *api.Snapshot) bool {
			return snap.Sweep.Phase == api.PhaseWaiting || snap.Sweep.Phase == api.PhaseTurning
		})
		m.turn(t)
		if got := sw.wait(); got != exitDone && got != exitOutside && got != exitUndecided {
			t.Fatalf("a sweep ended with %d: %s", got, sw.err.String())
		}
	}

	if status, _, errOut := call(t, "import", "--config", s.config, "--name", "left-rail", "--at",
		time.Now().Format(time.RFC3339), in("rail.csv")); status == exitFailed {
		t.Fatal(errOut)
	}

	var shown []string
	for _, text := range docs {
		shown = append(shown, shownCommands(text)...)
	}
	slices.Sort(shown)
	place := strings.NewReplacer("linnet.toml", s.config, "sweep.csv", in("sweep.csv"), "rail.csv", in("rail.csv"),
		"thickness.csv", in("thickness.csv"),
		"shank.csv", in("shank.csv"), "turned.csv", in("turned.csv"), "head.csv", in("head.csv"), "relations.json",
		in("relations.json"),
		"checks.csv", in("checks.csv"), "job.html", in("job.html"), "report.html", in("report.html"), " 11 12", " 1 2",
		" 12", " 2")
	ran := 0
	for _, line := range slices.Compact(shown) {
		if strings.Contains(line, "FILE") || elsewhere(t, line) {
			continue
		}
		ran++
		status, out, errOut := call(t, fields(place.Replace(line))[1:]...)
		allowed := []int{exitDone, exitOutside, exitUndecided}
		if strings.HasPrefix(line, "tramd doctor") || line == "tramd ports" {
			allowed = append(allowed, 1) // a test's machine has no serial ports, and its findings are its own
		}
		if !slices.Contains(allowed, status) || out+errOut == "" && !strings.Contains(line, "--out") &&
			!strings.HasPrefix(line, "tramd event") {
			t.Errorf("%s: status %d\n%s%s", line, status, out, errOut)
		}
	}
	if ran < 20 {
		t.Errorf("only %d commands ran", ran)
	}
	for _, name := range []string{"job.html", "report.html"} {
		if text, err := os.ReadFile(in(name)); err != nil || !strings.Contains(string(text), "linnet") {
			t.Errorf("%s: %v", name, err)
		}
	}

	d.kill()
	backups, err := filepath.Glob(in("stick/*.db"))
	if err != nil || len(backups) != 1 {
		t.Fatalf("backups: %v %v", backups, err)
	}
	r := program(t, "record", "--port", m.Paths.Indicator, in("arm.capture"))
	for end := time.Now().Add(30 * time.Second); ; time.Sleep(20 * time.Millisecond) {
		if info, err := os.Stat(in("arm.capture")); err == nil && info.Size() > 4000 {
			break
		}
		if time.Now().After(end) {
			t.Fatalf("nothing was recorded: %s", r.err.String())
		}
	}
	if err := r.cmd.Process.Signal(os.Interrupt); err != nil {
		t.Fatal(err)
	}
	if status := r.wait(); status != exitDone {
		t.Errorf("record: status %d: %s", status, r.err.String())
	}
	if status, out, errOut := call(t, "restore", "--config", s.config, backups[0]); status != exitDone {
		t.Errorf("restore: status %d\n%s%s", status, out, errOut)
	}
}

// elsewhere says whether another test runs a shown command, and fails where there is no such test.
func elsewhere(t *testing.T, line string) bool {
	t.Helper()
	for begin, test := range provenElsewhere {
		if line != begin {
			continue
		}
		if test == "" {
			return true
		}
		files, err := filepath.Glob("*_test.go")
		if err != nil {
			t.Fatal(err)
		}
		for _, name := range files {
			text, err := os.ReadFile(name)
			if err != nil {
				t.Fatal(err)
			}
			if regexp.MustCompile(`(?m)^func ` + test + `\(`).Match(text) {
				return true
			}
		}
		t.Errorf("%s: there is no test %s", line, test)
		return true
	}
	return false
}

// jsonShown returns the first JSON object that stands in the blocks of a document.
func jsonShown(t *testing.T, text string) string {
	t.Helper()
	_, rest, found := strings.Cut(text, "\n    {")
	piece, _, ended := strings.Cut(rest, "\n\n")
	if !found || !ended {
		t.Fatal("no JSON is shown")
	}
	return "{" + piece
}

func appendTo(t *testing.T, path, text string) {
	t.Helper()
	f, err := os.OpenFile(path, os.O_APPEND|os.O_WRONLY, 0)
	if err == nil {
		_, err = f.WriteString(text)
	}
	if err != nil {
		t.Fatal(err)
	}
	if err := f.Close(); err != nil {
		t.Fatal(err)
	}
}
