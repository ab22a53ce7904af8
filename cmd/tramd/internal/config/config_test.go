package config

import (
	"flag"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

var update = flag.Bool("update", false, "rewrite the .want files")

const minimum = `
[machine]
name = "linnet"
tolerance = "0.02/300"
[store]
path = "/var/lib/tramd/tramd.db"
[http]
listen = "127.0.0.1:9743"
[[indicator]]
name = "arm"
port = "/dev/serial/by-id/usb-adapter-if00"
baud = 115200
frame = "text"
radius_mm = 120.0
radius_u_mm = 0.5
resolution_mm = 0.001
[angle]
source = "encoder"
port = "/dev/serial/by-id/usb-encoder-if00"
baud = 115200
counts_per_turn = 4096
`

func TestTheMinimumIsEnough(t *testing.T) {
	c, err := Parse("linnet.toml", []byte(minimum))
	if err != nil {
		t.Fatal(err)
	}
	if c.Control.Socket != "/var/lib/tramd/tramd.sock" {
		t.Errorf("socket %q", c.Control.Socket)
	}
	s := c.Setup()
	if err := s.Validate(); err != nil {
		t.Error(err)
	}
	if got := s.Tolerance.Limit.MMPerM(); got < 0.06666 || got > 0.06667 {
		t.Errorf("limit %v mm/m, want 0.0667", got)
	}
}

// Each file in testdata has one mistake; beside it stands the whole message.
func TestEachMistakeIsShownByLineWithItsCure(t *testing.T) {
	files, err := filepath.Glob("testdata/*.toml")
	if err != nil || len(files) < 15 {
		t.Fatalf("found %d files: %v", len(files), err)
	}
	for _, f := range files {
		t.Run(filepath.Base(f), func(t *testing.T) {
			_, err := Load(f)
			if err == nil {
				t.Fatal("the mistake was not noticed")
			}
			got := strings.ReplaceAll(err.Error(), "testdata/", "") + "\n"
			want := strings.TrimSuffix(f, ".toml") + ".want"
			if *update {
				if err := os.WriteFile(want, []byte(got), 0o644); err != nil {
					t.Fatal(err)
				}
			}
			text, err := os.ReadFile(want)
			if err != nil {
				t.Fatal(err)
			}
			if got != string(text) {
				t.Errorf("got  %swant %s", got, text)
			}
		})
	}
}

func TestAllMistakesAreShownAtOnce(t *testing.T) {
	text := strings.NewReplacer("120.0", "-4.0", "4096", "1", `"0.02/300"`, `"0.02"`).Replace(minimum)
	_, err := Parse("x.toml", []byte(text))
	if n := strings.Count(err.Error(), "\n") + 1; n < 3 {
		t.Errorf("%d mistakes shown, want at least 3:\n%v", n, err)
	}
}

func FuzzParse(f *testing.F) {
	f.Add([]byte(minimum))
	f.Add([]byte(shopful))
	f.Add([]byte("[[indicator]]\nname=1"))
	f.Fuzz(func(t *testing.T, text []byte) {
		c, err := Parse("fuzz.toml", text)
		if err == nil && c.Setup().Validate() != nil {
			t.Errorf("accepted, but its setup is refused: %v", c.Setup().Validate())
		}
		if err == nil {
			mustServe(t, c)
		}
	})
}

// One look shows every mistake: keys that are not known, and values that cannot be.
func TestEveryMistakeIsShownAtOnce(t *testing.T) {
	text := strings.NewReplacer("radius_mm = 120.0", "radius = 120.0", `tolerance = "0.02/300"`, `tolerance = "some"`,
		"counts_per_turn = 4096", "counts_per_turn = -4096\nzero_dge = 3").Replace(minimum)
	_, err := Parse("linnet.toml", []byte(text))
	if err == nil {
		t.Fatal("it was taken")
	}
	last := 0
	for _, want := range []string{":4: machine.tolerance", `unknown key "indicator.radius"; did you mean "radius_mm"?`,
		"angle.counts_per_turn", `unknown key "angle.zero_dge"; did you mean "zero_deg"?`} {
		at := strings.Index(err.Error(), want)
		if at < last {
			t.Errorf("%q is not said, or not in the order of the lines:\n%v", want, err)
		}
		last = max(at, last)
	}
	if n := strings.Count(err.Error(), "\n") + 1; n != 4 {
		t.Errorf("%d mistakes are said, of four:\n%v", n, err)
	}
}
