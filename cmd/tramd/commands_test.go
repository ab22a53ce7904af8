package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

func TestWrongUsageExitsWithTwoAndSaysWhatIsWrong(t *testing.T) {
	for _, args := range [][]string{
		{"swep"}, {"fit"}, {"fit", "../../testdata/sweeps/linnet_dense.csv"}, {"fit", "--radius", "-1", "x.csv"},
		{"fit", "--radius", "100", "--tolerance", "0.02", "x.csv"},
		{"run"}, {"show"}, {"fit", "--radius", "100", "--model", "best", "x.csv"},
		{"event", "--config", "x", "exploded"},
	} {
		status, out, errOut := call(t, args...)
		if status != exitUsage || errOut == "" || out != "" {
			t.Errorf("tramd %v: status %d, out %q, err %q", args, status, out, errOut)
		}
	}
}

func TestFitGoesOnAfterAFileThatCannotBeFitted(t *testing.T) {
	dir := t.TempDir()
	write := func(name, text string) string {
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		return path
	}
	good := write("good.csv", "t_s,angle_deg,reading_mm\n0,0,0.0250\n1,90,0\n2,180,-0.0250\n3,270,0\n4,360,0.0250\n")
	bad := write("bad.csv", "t_s,angle_deg,reading_mm\n0,0,0.0250\n1,ninety,0\n")
	args := []string{"fit", "--json", "--model", "plain", "--radius", "140", "--tolerance", "0.02/300"}
	status, out, _ := call(t, append(args, bad, good, filepath.Join(dir, "none.csv"))...)
	if status != exitFailed {
		t.Errorf("status %d, want %d", status, exitFailed)
	}
	lines := strings.Split(strings.TrimSpace(out), "\n")
	if len(lines) != 3 {
		t.Fatalf("%d lines, want 3:\n%s", len(lines), out)
	}
	var first struct{ File, Error string }
	if err := json.Unmarshal([]byte(lines[0]), &first); err != nil || first.File != bad ||
		!strings.Contains(first.Error, "line 3") {
		t.Errorf("%s: %v", lines[0], err)
	}
	// Common practice, no source: 0.05 mm from left to right over a 280 mm circle is 0.179 mm/m.
	var second swept
	if err := json.Unmarshal([]byte(lines[1]), &second); err != nil || second.Tilt == nil ||
		second.Tilt.MMPerM < 0.1785 || second.Tilt.MMPerM > 0.1786 {
		t.Errorf("%s: %v", lines[1], err)
	}
	if status, _, _ := call(t, append(args, good)...); status != exitOutside {
		t.Errorf("status %d for a lean outside the tolerance, want %d", status, exitOutside)
	}
}

// A lean of 0.179 mm/m under a 50 mm cutter: marks of some micrometres, by the formulae of package finish.
func TestFitSaysWhatTheLeanLeavesOnTheWork(t *testing.T) {
	s := newShop(t, encoderPorts("/dev/none-1", "/dev/none-2"))
	text, err := os.ReadFile(s.config)
	if err != nil {
		t.Fatal(err)
	}
	cutters := "\n[[cutter]]\nname = \"face mill\"\ndiameter_mm = 50.0\nstepover_mm = 40.0\nlimit_mm = 0.002\n"
	if err := os.WriteFile(s.config, append(text, cutters...), 0o600); err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(t.TempDir(), "sweep.csv")
	if err := os.WriteFile(path, []byte(
		"t_s,angle_deg,reading_mm\n0,0,0.0250\n1,90,0\n2,180,-0.0250\n3,270,0\n4,360,0.0250\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	status, out, errOut := call(t, "fit", "--config", s.config, "--radius", "140", "--model", "plain", path)
	if !strings.Contains(out, "face mill, 50 mm wide at 40 mm between passes: marks of 0.0071 mm") {
		t.Errorf("status %d: %s%s", status, out, errOut)
	}
}

func TestCommandsSayWhenNoDaemonAnswers(t *testing.T) {
	s := newShop(t, encoderPorts("/dev/none-1", "/dev/none-2"))
	status, _, errOut := call(t, "sweep", "--config", s.config)
	if status != exitFailed || !strings.Contains(errOut, "tramd run --config") {
		t.Errorf("status %d, said %q", status, errOut)
	}
	if status, _, errOut := call(t, "runs", "--config", s.config); status != exitFailed || errOut == "" {
		t.Errorf("status %d, said %q", status, errOut)
	}
}

func TestTheDaemonRunsWithoutItsPortsAndRefusesASecond(t *testing.T) {
	s := newShop(t, encoderPorts("/dev/none-1", "/dev/none-2"))
	s.daemon(t)
	second := program(t, "run", "--config", s.config)
	if status := second.wait(); status != exitFailed || !strings.Contains(second.err.String(), "pid") {
		t.Errorf("the second daemon: status %d, said %q", status, second.err.String())
	}
	if body := get(t, "http://"+s.page+"/metrics"); !strings.Contains(
		body, `tramd_device_up{device="arm",machine="linnet"} 0`) {
		t.Errorf("metrics:\n%s", body)
	}
}

func TestTheDemoAgreesWithItsTruth(t *testing.T) {
	t.Parallel()
	status, out, errOut := call(t, "demo", "--seconds", "1", "--json", "--listen", "127.0.0.1:0", "--seed", "7")
	var r struct {
		Agrees bool
		Sweeps []demoSweep
	}
	if err := json.Unmarshal([]byte(out), &r); err != nil || status != exitDone || !r.Agrees || len(r.Sweeps) < 2 {
		t.Errorf("status %d, %v, %s\n%s", status, err, out, errOut)
	}
}

func TestPasswordGivesAHashTheConfigurationTakes(t *testing.T) {
	var out, errOut strings.Builder
	if status := run(t.Context(), []string{"password"}, strings.NewReader("a bench mill\n"), &out,
		&errOut); status != exitDone {
		t.Fatalf("status %d: %s", status, errOut.String())
	}
	s := newShop(t, encoderPorts("/dev/a", "/dev/b"))
	text, err := os.ReadFile(s.config)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(s.config, []byte(strings.Replace(string(text), "[http]\n", "[http]\n"+out.String(), 1)),
		0o600); err != nil {
		t.Fatal(err)
	}
	if status, _, errOut := call(t, "config", "check", s.config); status != exitDone {
		t.Error(errOut)
	}
	if status := run(t.Context(), []string{"password"}, strings.NewReader("short\n"), &out,
		&errOut); status != exitFailed {
		t.Error("a short password was taken")
	}
}
