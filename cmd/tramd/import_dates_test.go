package main

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// Files that were copied together bear the time of the copying. They are asked for their dates before anything is
// stored.
func TestFilesOfOneInstantAreAskedForTheirDates(t *testing.T) {
	s := newShop(t, encoderPorts("/dev/serial/by-id/usb-none-if00", "/dev/serial/by-id/usb-none-if01"))
	text, err := os.ReadFile(recordedSweep(t))
	if err != nil {
		t.Fatal(err)
	}
	first, second := filepath.Join(s.dir, "march.csv"), filepath.Join(s.dir, "april.csv")
	copied := time.Date(2026, 5, 3, 10, 20, 0, 0, time.Local)
	for i, path := range []string{first, second} {
		if err := os.WriteFile(path, append(text[:len(text):len(text)], bytes.Repeat([]byte("\n"), i)...),
			0o600); err != nil {
			t.Fatal(err)
		}
		if err := os.Chtimes(path, copied, copied.Add(time.Duration(i)*time.Second)); err != nil {
			t.Fatal(err)
		}
	}
	status, out, errOut := call(t, "import", "--config", s.config, first, second)
	if status == exitDone || !strings.Contains(errOut, "march.csv and ") || !strings.Contains(errOut, "--at TIME") ||
		out != "" {
		t.Errorf("status %d, %s%s", status, out, errOut)
	}
	if _, err := os.Stat(filepath.Join(s.dir, "tramd.db")); err == nil {
		t.Error("a record was begun all the same")
	}
	if err := os.Chtimes(second, copied, copied.Add(24*time.Hour)); err != nil {
		t.Fatal(err)
	}
	// The second has the readings of the first, so it alone is refused.
	if _, out, errOut := call(t, "import", "--config", s.config, first, second); !strings.Contains(
		out, "run 1 from ") || !strings.Contains(errOut, "in the record already") {
		t.Errorf("files a day apart: %s%s", out, errOut)
	}
}

// Checks of one sitting tell no rate, and none is printed; checks over days have one.
func TestNoRateIsPrintedOfOneSitting(t *testing.T) {
	const head = "time,tilt_mm_per_m,tilt_u_mm_per_m,nod_mm_per_m,nod_u_mm_per_m,spindle_hours,event\n"
	file := filepath.Join(t.TempDir(), "checks.csv")
	for _, x := range []struct {
		rows string
		rate bool
	}{
		{"2026-03-02T07:30:00Z,0.010,0.002,0.000,0.002,,\n2026-03-02T07:30:01Z,0.030,0.002,0.000,0.002,,\n", false},
		{"2026-03-02T07:30:00Z,0.010,0.002,0.000,0.002,,\n", false},
		{"2026-03-02T07:30:00Z,0.010,0.002,0.000,0.002,,\n2026-03-12T07:30:00Z,0.030,0.002,0.000,0.002,,\n", true},
	} {
		mustWrite(t, file, head+x.rows)
		_, out, errOut := call(t, "drift", "--tolerance", "0.02/300", file)
		if !strings.Contains(out, "tilt ") || strings.Contains(out, "moving by") != x.rate {
			t.Errorf("%s: a rate is wanted: %v\n%s%s", x.rows, x.rate, out, errOut)
		}
	}
}
