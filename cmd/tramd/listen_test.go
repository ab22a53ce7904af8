package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"tramd/cmd/tramd/internal/api"
)

func TestListenTakesOnePort(t *testing.T) {
	if status, _, said := call(t, "listen", "/dev/one", "--port", "/dev/two"); status != 2 ||
		!strings.Contains(said, "are two ports") {
		t.Errorf("status %d: %s", status, said)
	}
}

// A capture stands in for a port: what is shown is known to the byte.
func TestListenShowsRawAndDecodedSideBySide(t *testing.T) {
	t.Parallel()
	const captures = "../../testdata/captures/"
	for _, tc := range []struct {
		args []string
		want []string
	}{
		{[]string{"--port", "replay:" + captures + "text_mixed.log"}, []string{
			"< 61 3A 20 30 2C 30 31 32 35 20 6D 6D 0D           a: 0,0125 mm.     a 0.0125 mm\n",
			"< 61 20 30 2E 35 20 6B 67 0A                       a 0.5 kg.         bad: bad_unit\n",
			"6 readings in ", "; bad frames: bad_unit 1, garbage 1, status 1\n",
		}},
		// as with identify
		{[]string{"replay:" + captures + "encoder_counts.log", "--frame", "encoder"}, []string{"  count "}},
		{[]string{"--port", "replay:" + captures + "binary_channels.log", "--with",
			`binary = { layout = "AA 55 ch value check", bits = 24, order = "low_first", check = "xor", scale = "0.001 mm" }`}, []string{
			"< AA 55 01 FB FF FF 05 AA 55 02 E8 03 00 16 AA 55  .U......U......U\n", "  1 -0.003 mm",
			"bad: bad_checksum",
		}},
	} {
		status, out, errOut := call(t, append([]string{"listen", "--all"}, tc.args...)...)
		if status != 0 {
			t.Fatalf("%v: status %d: %s", tc.args, status, errOut)
		}
		for _, want := range tc.want {
			if !strings.Contains(out, want) {
				t.Errorf("%v: %q is not in\n%s", tc.args, want, out)
			}
		}
	}
}

// A program reads every byte, and what became of it.
func TestListenForAProgram(t *testing.T) {
	t.Parallel()
	status, out, errOut := call(t, "listen", "--json", "--port", "replay:../../testdata/captures/text_mixed.log")
	if status != exitDone {
		t.Fatalf("status %d: %s", status, errOut)
	}
	lines := strings.Split(strings.TrimSpace(out), "\n")
	var bytes, read []string
	for _, line := range lines[:len(lines)-1] {
		var x api.Listened
		if err := json.Unmarshal([]byte(line), &x); err != nil {
			t.Fatalf("%v: %s", err, line)
		}
		bytes, read = append(bytes, x.Bytes), append(read, x.Read...)
	}
	var sum api.ListenedSum
	if err := json.Unmarshal([]byte(lines[len(lines)-1]), &sum); err != nil || sum.Readings != 6 ||
		sum.Faults["bad_unit"] != 1 {
		t.Errorf("%v: %+v", err, sum)
	}
	if !slices.Contains(read, "a 0.0125 mm") || !slices.Contains(read, "bad: bad_unit") ||
		!strings.Contains(strings.Join(bytes, ""), "613a20302c30313235206d6d0d") {
		t.Errorf("%q\n%q", read, bytes)
	}
}

func TestListenByAConfiguration(t *testing.T) {
	l := freeLine(t)
	go func() { // an instrument that answers whatever it is asked
		buf := make([]byte, 64)
		for {
			n, err := l.Far().Read(buf)
			if os.IsNotExist(err) || err != nil && strings.Contains(err.Error(), "closed") {
				return
			}
			if n > 0 {
				_ = l.TryWrite([]byte("0.250 mm\r\n"))
			}
		}
	}()
	file := filepath.Join(t.TempDir(), "wren.toml")
	mustWrite(t, file, `
[machine]
name = "wren"
[store]
path = "/tmp/none.db"
[angle]
source = "stations"
[[indicator]]
name = "arm"
port = "`+l.Path+`"
radius_mm = 90.0
ask = "?\r"
ask_every_ms = 20
`)
	status, out, errOut := call(t, "listen", "--config", file, "--seconds", "1", "--all")
	if status != 0 || !strings.Contains(errOut, "Caution: this port is written to.") {
		t.Fatalf("status %d: %s", status, errOut)
	}
	for _, want := range []string{"> 3F 0D ",
		"< 30 2E 32 35 30 20 6D 6D 0D 0A                    0.250 mm..        0.25 mm\n", "asked "} {
		if !strings.Contains(out, want) {
			t.Errorf("%q is not in\n%s", want, out)
		}
	}
}

func TestListenToAnInput(t *testing.T) {
	t.Parallel()
	value := filepath.Join(t.TempDir(), "value")
	mustWrite(t, value, "0\n")
	file := filepath.Join(t.TempDir(), "wren.toml")
	mustWrite(t, file, `
[machine]
name = "wren"
[store]
path = "/tmp/none.db"
[angle]
source = "typed"
[[indicator]]
name = "dial"
radius_mm = 90.0
[[input]]
name = "door"
source = "file"
file = "`+value+`"
active_low = true
`)
	// a failure shows in what is heard
	time.AfterFunc(500*time.Millisecond, func() { _ = os.WriteFile(value, []byte("closed\n"), 0o600) })
	status, out, errOut := call(t, "listen", "--config", file, "--port", "door", "--seconds", "1.5")
	on, bad := strings.Index(out, " s  on\n"), strings.Index(out, `says "closed`)
	if status != 0 || on < 0 || bad < on || !strings.Contains(errOut, "Watching input door") {
		t.Errorf("status %d: %s\n%s", status, out, errOut)
	}
}

func TestListenMistakes(t *testing.T) {
	for _, tc := range []struct {
		args   []string
		status int
		want   string
	}{
		{[]string{}, exitUsage, "write --port PORT"},
		{[]string{"--config", "x", "--baud", "9600"}, exitUsage, "leave --baud"},
		{[]string{"--port", "/dev/x", "--with", "binary = { layout = \"value\" }"}, exitFailed,
			"--with:1: indicator.0.binary.bits"},
		{[]string{"--port", "/dev/x", "--line", "9N1"}, exitFailed, "write data bits"},
	} {
		status, _, errOut := call(t, append([]string{"listen"}, tc.args...)...)
		if status != tc.status || !strings.Contains(errOut, tc.want) {
			t.Errorf("%v: status %d, %q; want %d and %q", tc.args, status, errOut, tc.status, tc.want)
		}
	}
}
