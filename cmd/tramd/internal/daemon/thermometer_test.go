package daemon

import (
	"context"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"tramd/cmd/tramd/internal/session"
	"tramd/store"

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
		got, err := readTemperature(file)
		if got != x.want || (err == nil) != (x.says == "") || err != nil && !strings.Contains(err.Error(), x.says) {
			t.Errorf("%q: %v, %v", x.text, got, err)
		}
	}
	if _, err := readTemperature(filepath.Join(t.TempDir(), "none")); err == nil {
		t.Error("a file that is not there was read")
	}
}

// A run is stored with the temperature it began at, and without one that is old.
func TestRunsAreStoredWithTheTemperature(t *testing.T) {
	b := newBench(t)
	file := filepath.Join(t.TempDir(), "temperature")
	if err := os.WriteFile(file, []byte("23437\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	th := &thermometer{file: file, log: slog.New(slog.DiscardHandler)}
	if th.Now() != nil {
		t.Error("a temperature before it was read")
	}
	go th.run(t.Context())
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
	a := &archive{store: b.d.store, clockSet: func() bool { return true }, temperature: th.Now}
	stored := func() store.Run {
		t.Helper()
		id, err := a.BeginRun(t.Context(), session.Beginning{Kind: "sweep", Setup: b.setup, Purpose: "check"})
		if err != nil {
			t.Fatal(err)
		}
		run, err := b.d.store.Run(t.Context(), id)
		if err != nil {
			t.Fatal(err)
		}
		return run
	}
	if c := stored().TemperatureC; c == nil || *c != 23.437 {
		t.Errorf("stored %v", c)
	}
	th.mu.Lock()
	th.at = time.Now().Add(-temperatureAge - time.Second)
	th.mu.Unlock()
	if c := stored().TemperatureC; c != nil {
		t.Errorf("an old one was stored: %v", *c)
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
	go func() { defer close(ended); (&thermometer{file: file, log: slog.New(slog.DiscardHandler)}).run(ctx) }()
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
