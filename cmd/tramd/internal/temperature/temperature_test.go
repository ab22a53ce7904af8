package temperature

import (
	"context"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"golang.org/x/sys/unix"
)

func TestTemperatureFiles(t *testing.T) {
	for _, x := range []struct {
		text string
		want float64
		says string
	}{
		{"23437\n", 23.437, ""},
		{"-1250\n", -1.25, ""},
		{"85000\n", 0, "no shop's temperature"}, // a DS18B20's power-on value (its data sheet, from memory)
		{"999999\n", 0, "no shop's temperature"},
		{"-55000\n", 0, "no shop's temperature"},
		{"80001\n", 0, "no shop's temperature"}, // the computer's own, not the machine's
		{"", 0, "not thousandths"},
		{"23.4\n", 0, "not thousandths"},
	} {
		file := filepath.Join(t.TempDir(), "temperature")
		if err := os.WriteFile(file, []byte(x.text), 0o600); err != nil {
			t.Fatal(err)
		}
		got, err := readFile(file)
		if got != x.want || (err == nil) != (x.says == "") || err != nil && !strings.Contains(err.Error(), x.says) {
			t.Errorf("%q: %v, %v", x.text, got, err)
		}
	}
	if _, err := readFile(filepath.Join(t.TempDir(), "none")); err == nil {
		t.Error("a file that is not there was read")
	}
}

func TestATemperatureIsKnownWhileItIsRecent(t *testing.T) {
	file := filepath.Join(t.TempDir(), "temperature")
	if err := os.WriteFile(file, []byte("23437\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	th := New(file, slog.New(slog.DiscardHandler))
	if th.Now() != nil {
		t.Error("a temperature before it was read")
	}
	go th.Run(t.Context())
	for th.Now() == nil {
		time.Sleep(time.Millisecond)
	}
	typed := 21.5
	if err := th.Set(215); err == nil || !strings.Contains(err.Error(), "degrees Celsius, -40 to 80") {
		t.Errorf("an absurd one: %v", err)
	}
	if err := th.Set(typed); err != nil || *th.Now() != typed {
		t.Errorf("typed %v, %v", *th.Now(), err)
	}
	th.mu.Lock()
	th.typedAt = time.Now().Add(-typedAge - time.Second)
	th.mu.Unlock()
	if c := th.Now(); c == nil || *c != 23.437 {
		t.Errorf("after what was typed: %v", c)
	}
	th.mu.Lock()
	th.at = time.Now().Add(-readAge - time.Second)
	th.mu.Unlock()
	if c := th.Now(); c != nil {
		t.Errorf("an old one: %v", *c)
	}
}

// A file that never answers holds up no end.
func TestATemperatureThatHangsHoldsUpNothing(t *testing.T) {
	file := filepath.Join(t.TempDir(), "temp1_input")
	if err := unix.Mkfifo(file, 0o600); err != nil { // opened for reading it waits for a writer
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	ended := make(chan struct{})
	go func() { defer close(ended); New(file, slog.New(slog.DiscardHandler)).Run(ctx) }()
	time.Sleep(20 * time.Millisecond)
	cancel()
	select {
	case <-ended:
	case <-time.After(5 * time.Second):
		t.Error("it waits for the file")
	}
	w, err := os.OpenFile(file, os.O_WRONLY, 0) // lets the read go
	if err != nil {
		t.Fatal(err)
	}
	w.Close()
}
