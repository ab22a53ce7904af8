package store

import (
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
)

// The figure is held against df's (GNU coreutils), which asks the same file system by itself.
func TestFreeIsWhatDfSays(t *testing.T) {
	s := fresh(t)
	got, err := s.Free()
	if err != nil {
		t.Fatal(err)
	}
	text, err := exec.Command("df", "--output=avail", "-B1", filepath.Dir(s.path)).Output()
	if err != nil {
		t.Fatal(err)
	}
	lines := strings.Fields(string(text))
	want, err := strconv.ParseFloat(lines[len(lines)-1], 64)
	if err != nil {
		t.Fatal(err)
	}
	if d := float64(got) - want; d > want/10 || d < -want/10 { // others write to the same disk meanwhile
		t.Errorf("%d bytes free, df says %.0f", got, want)
	}
}
