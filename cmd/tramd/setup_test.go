package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

func TestSetupWritesAConfigurationThatIsRightAndOverwritesNone(t *testing.T) {
	roots := madeUpSys(t)
	file := filepath.Join(t.TempDir(), "wren.toml")
	setUp := func(force bool) (string, error) {
		var out strings.Builder
		c := &setupCmd{File: file, Force: force, roots: roots}
		err := c.Run(&env{ctx: t.Context(), in: strings.NewReader("wren\n\n\n\n\n\n120\n\n\nn\n\n/srv/wren.db\n\n"), out: &out, err: &out})
		return out.String(), err
	}
	said, err := setUp(false)
	if err != nil {
		t.Fatalf("%v\n%s", err, said)
	}
	if !strings.Contains(said, "is right: machine wren") || !strings.Contains(said, "isolate the spindle's power") || !strings.Contains(said, "usb-Bridge_LN7") {
		t.Error(said)
	}
	if st, err := os.Stat(file); err != nil || st.Mode().Perm() != 0o640 {
		t.Errorf("%v, %v", st.Mode(), err)
	}
	mustWrite(t, file, "mine")
	if said, err := setUp(false); err == nil || !strings.Contains(err.Error(), "--force") || strings.Contains(said, "Name of the machine") {
		t.Errorf("%v\n%s", err, said)
	}
	// It came while the questions were asked.
	if err := writeConfig(file, "x", false); err == nil {
		t.Error("a file that came meanwhile was written over")
	}
	if text, _ := os.ReadFile(file); string(text) != "mine" {
		t.Errorf("the file was touched: %q", text)
	}
	if said, err := setUp(true); err != nil {
		t.Errorf("%v\n%s", err, said)
	}
	if left, _ := filepath.Glob(filepath.Join(filepath.Dir(file), ".tramd*")); len(left) != 0 {
		t.Errorf("left behind: %v", left)
	}
	if err := writeConfig(filepath.Join(file, "x", "y.toml"), "x", false); err == nil || !strings.Contains(err.Error(), "name a file in a folder") {
		t.Errorf("%v", err)
	}
}
