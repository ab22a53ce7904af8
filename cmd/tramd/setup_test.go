package main

import (
	"io"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/creack/pty"

	"tramd/cmd/tramd/internal/config"
	"tramd/cmd/tramd/internal/identify/identifytest"
	"tramd/device/devicetest"
)

func TestSetupWritesAConfigurationThatIsRightAndOverwritesNone(t *testing.T) {
	roots := madeUpSys(t)
	file := filepath.Join(t.TempDir(), "wren.toml")
	setUp := func(force bool) (string, error) {
		var out strings.Builder
		c := &setupCmd{File: file, Force: force, roots: roots}
		err := c.Run(&env{ctx: t.Context(),
			in: strings.NewReader("wren\n\n\n\n\nn\n\n120\n\n\nn\n\n\n/srv/wren.db\n\n\n\n"), out: &out, err: &out})
		return out.String(), err
	}
	said, err := setUp(false)
	if err != nil {
		t.Fatalf("%v\n%s", err, said)
	}
	if !strings.Contains(said, "is right: machine wren") || !strings.Contains(said, "isolate the spindle's power") ||
		!strings.Contains(said, "usb-Bridge_LN7") {
		t.Error(said)
	}
	if st, err := os.Stat(file); err != nil || st.Mode().Perm() != 0o640 {
		t.Errorf("%v, %v", st.Mode(), err)
	}
	mustWrite(t, file, "mine")
	if said, err := setUp(false); err == nil || !strings.Contains(err.Error(), "--force") ||
		strings.Contains(said, "Name of the machine") {
		t.Errorf("%v\n%s", err, said)
	}
	if strings.Contains(said, "0 degrees of the encoder") {
		t.Errorf("a zero is spoken of where there is no encoder: %s", said)
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
	if err := writeConfig(filepath.Join(file, "x", "y.toml"), "x", false); err == nil ||
		!strings.Contains(err.Error(), "name a file in a folder") {
		t.Errorf("%v", err)
	}
}

// An instrument that speaks a form of its own sends on a real port; what setup finds must be what the configuration
// reads.
func TestSetupListensToThePortAndTakesWhatItFinds(t *testing.T) {
	t.Parallel()
	stream := identifytest.Texts()[0]
	for _, s := range identifytest.Bytes() {
		if s.Answer == nil && s.Line == "8N1" {
			stream = s // not the frame that is usual
			break
		}
	}
	line := devicetest.Open(t)
	defer play(line, stream)()
	file := filepath.Join(t.TempDir(), "wren.toml")
	var out strings.Builder
	answers := strings.Join([]string{"wren", "", "", "", line.Path, "y", "120", "", "", "n", "", "", "/srv/wren.db", "",
		"", "", ""}, "\n")
	c := &setupCmd{File: file, roots: madeUpSys(t)}
	if err := c.Run(&env{ctx: t.Context(), in: strings.NewReader(answers), out: &out, err: &out}); err != nil {
		t.Fatalf("%v\n%s", err, out.String())
	}
	cfg, err := config.Load(file)
	if err != nil {
		t.Fatal(err)
	}
	if ind := cfg.Indicators[0]; ind.Frame == "text" || ind.Port != line.Path ||
		!strings.Contains(out.String(), "Found:") {
		t.Errorf("%s: frame %q\n%s", stream.Name, ind.Frame, out.String())
	}
}

// An encoder's zero can be pointed only once its port is read, so setup says who will ask for it.
func TestSetupSaysWhoAsksForTheZero(t *testing.T) {
	var out strings.Builder
	answers := strings.Join([]string{"wren", "", "encoder", "", "", "n", "", "120", "", "", "n", "tcp://192.0.2.7:4001",
		"", "4096", "", "", "/srv/wren.db", "", "", "", ""}, "\n")
	c := &setupCmd{File: filepath.Join(t.TempDir(), "wren.toml"), roots: madeUpSys(t)}
	if err := c.Run(&env{ctx: t.Context(), in: strings.NewReader(answers), out: &out, err: &out}); err != nil {
		t.Fatalf("%v\n%s", err, out.String())
	}
	if said := out.String(); !strings.Contains(said, "The first `tramd sweep` asks for it") ||
		!strings.Contains(said, "towards the back") {
		t.Error(said)
	}
}

// At a terminal the two presses are made in setup itself: the arm stands to the right, is turned by a quarter, and the
// configuration says which way the encoder counts and where its zero is.
func TestSetupHasThePersonShowWhereZeroIs(t *testing.T) {
	t.Parallel()
	m := startOther(t, "--rate", "100", "--encoder-rate", "100", "--seconds", "1", "--turns", "0.25")
	keys, screen, err := pty.Open()
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { keys.Close(); screen.Close() })
	go func() { _, _ = io.Copy(io.Discard, keys) }() // the echo; it ends with the terminal
	var out shared
	file := filepath.Join(t.TempDir(), "wren.toml")
	c := &setupCmd{File: file, roots: madeUpSys(t)}
	done := make(chan error, 1)
	go func() { done <- c.Run(&env{ctx: t.Context(), in: screen, out: &out, err: &out}) }()
	said := func(what string) {
		t.Helper()
		for began := time.Now(); !strings.Contains(out.String(), what); time.Sleep(10 * time.Millisecond) {
			if time.Since(began) > time.Minute {
				t.Fatalf("it did not say %q: %s", what, out.String())
			}
		}
	}
	answer := func(lines ...string) { io.WriteString(keys, strings.Join(lines, "\n")+"\n") }
	answer("wren", "", "encoder", "", "", "n", "", "120", "", "", "n", m.Paths.Encoder, "", "4096", "", "",
		"/srv/wren.db", "", "a quiet word", "a quiet word", "n")
	said("Is the encoder switched on")
	answer("y")
	said("Point the arm right")
	for began := time.Now(); !strings.Contains(out.String(),
		"quarter turn towards the back, and press Enter"); time.Sleep(200 * time.Millisecond) {
		answer("") // again, while it takes the arm to be moving
		if time.Since(began) > time.Minute {
			t.Fatal(out.String())
		}
	}
	m.turn(t)
	for began := time.Now(); !strings.Contains(out.String(), "an absolute encoder"); time.Sleep(
		200 * time.Millisecond) {
		answer("")
		if time.Since(began) > time.Minute {
			t.Fatal(out.String())
		}
	}
	answer("y")
	if err := <-done; err != nil {
		t.Fatalf("%v\n%s", err, out.String())
	}
	cfg, err := config.Load(file)
	if err != nil {
		t.Fatal(err)
	}
	text, _ := os.ReadFile(file)
	if a := cfg.Angle; a.Reversed || a.ZeroDeg == nil || math.Abs(math.Remainder(*a.ZeroDeg, 360)) > 1 ||
		a.ZeroUDeg != 2 {
		t.Errorf("%s", text)
	}
}
