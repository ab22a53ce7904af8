package main

import (
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

func tool(t *testing.T, name, pkg string) string {
	t.Helper()
	path, err := exec.LookPath(name)
	if err != nil {
		t.Fatalf("%s is missing; install it: sudo apt-get install %s", name, pkg)
	}
	return path
}

// machineRoot is a root with this machine's units, ours, and a program to stand in for tramd.
func machineRoot(t *testing.T) string {
	t.Helper()
	root := t.TempDir()
	units := filepath.Join(root, "usr/lib/systemd")
	for _, d := range []string{units, filepath.Join(root, "usr/bin"), filepath.Join(root, "etc")} {
		if err := os.MkdirAll(d, 0o755); err != nil {
			t.Fatal(err)
		}
	}
	if err := os.Symlink("usr/bin", filepath.Join(root, "bin")); err != nil {
		t.Fatal(err)
	}
	ours, err := filepath.Glob("../../systemd/tramd*@.*")
	if err != nil || len(ours) != 3 {
		t.Fatalf("units %v, %v", ours, err)
	}
	copyTo := func(to string, from ...string) {
		t.Helper()
		if out, err := exec.Command("cp", append(append([]string{"-a"}, from...), to)...).CombinedOutput(); err != nil {
			t.Fatalf("%v: %s", err, out)
		}
	}
	copyTo(units, "/lib/systemd/system")
	copyTo(filepath.Join(units, "system"), ours...)
	copyTo(filepath.Join(root, "usr/bin/tramd"), tool(t, "true", "coreutils"))
	copyTo(filepath.Join(root, "usr/bin/kill"), tool(t, "kill", "procps"))
	return root
}

func TestTheUnitsAreRight(t *testing.T) {
	analyze, root := tool(t, "systemd-analyze", "systemd"), machineRoot(t)
	verify := func() string {
		// The machine's own units may have their faults; only what is said of ours counts.
		out, err := exec.Command(analyze, "verify", "--man=no", "--root="+root,
			"tramd@linnet.service", "tramd-sweep@linnet.service", "tramd-sweep@linnet.timer").CombinedOutput()
		if err != nil {
			t.Fatalf("%v: %s", err, out)
		}
		said := ""
		for line := range strings.Lines(string(out)) {
			if strings.Contains(line, "tramd") {
				said += line
			}
		}
		return said
	}
	if said := verify(); said != "" {
		t.Error(said)
	}
	// A check that cannot fail is none.
	unit := filepath.Join(root, "usr/lib/systemd/system/tramd@.service")
	text, err := os.ReadFile(unit)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(unit, append(text, "\n[Service]\nWatchdogSeconds=60\n"...), 0o644); err != nil {
		t.Fatal(err)
	}
	if verify() == "" {
		t.Error("an unknown setting was not noticed")
	}
}

// The exposure by `systemd-analyze security` (systemd 252; 0 is none, 10 all): 1.6 for the daemon, which needs the
// network and the ports, 1.0 for the sweep, which needs neither.
func TestTheUnitsAreHardened(t *testing.T) {
	analyze := tool(t, "systemd-analyze", "systemd")
	for unit, most := range map[string]string{"tramd@.service": "16", "tramd-sweep@.service": "10"} {
		check := func(path string) error {
			return exec.Command(analyze, "security", "--no-pager", "--offline=true", "--threshold="+most, path).Run()
		}
		path := filepath.Join("../../systemd", unit)
		if err := check(path); err != nil {
			t.Errorf("%s is more exposed than %s tenths: %v", unit, most, err)
		}
		text, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		soft := filepath.Join(t.TempDir(), unit)
		if err := os.WriteFile(soft, []byte(strings.ReplaceAll(string(text), "ProtectSystem=strict\n", "")),
			0o644); err != nil {
			t.Fatal(err)
		}
		if most == "16" && check(soft) == nil {
			t.Errorf("%s without ProtectSystem passed", unit)
		}
	}
}
