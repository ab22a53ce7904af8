package daemon

import (
	"context"
	"fmt"
	"log/slog"
	"os"
	"strconv"
	"strings"
	"sync"
	"time"

	"tramd/cmd/tramd/internal/api"
	"tramd/sweep/drift"
)

// How often the temperature is read, and how old it may be when a run begins.
const (
	temperatureEvery = time.Minute
	temperatureAge   = 3 * temperatureEvery
	typedAge         = 30 * time.Minute // what a person typed: iron is slow
)

// thermometer knows the machine's temperature: as a person typed it, for a while, or else from a file. It reads that
// now and then, on a goroutine of its own: a 1-wire sensor takes most of a second to answer, and a loose wire may keep
// the kernel waiting far longer.
type thermometer struct {
	file string // empty: there is none
	log  *slog.Logger

	mu      sync.Mutex
	celsius float64
	at      time.Time // zero: never read
	typed   float64
	typedAt time.Time // zero: never typed
}

// Now is the temperature, as far as it is known.
func (t *thermometer) Now() *float64 {
	t.mu.Lock()
	defer t.mu.Unlock()
	if !t.typedAt.IsZero() && time.Since(t.typedAt) < typedAge {
		c := t.typed
		return &c
	}
	if t.at.IsZero() || time.Since(t.at) > temperatureAge {
		return nil
	}
	c := t.celsius
	return &c
}

// Set takes a temperature that a person read and typed.
func (t *thermometer) Set(celsius float64) error {
	if err := drift.JudgeTemperature(celsius); err != nil {
		return api.Invalid.Of(err)
	}
	t.mu.Lock()
	defer t.mu.Unlock()
	t.typed, t.typedAt = celsius, time.Now()
	return nil
}

func (t *thermometer) run(ctx context.Context) {
	if t.file == "" {
		return
	}
	failing := false
	for {
		c, err := t.read(ctx)
		if ctx.Err() != nil {
			return
		}
		if err == nil {
			t.mu.Lock()
			t.celsius, t.at = c, time.Now()
			t.mu.Unlock()
		}
		if (err != nil) != failing { // once a change, not once a minute
			failing = err != nil
			if failing {
				t.log.Warn("cannot read the temperature; runs are stored without", "file", t.file, "error", err)
			} else {
				t.log.Info("the temperature can be read again", "file", t.file)
			}
		}
		select {
		case <-ctx.Done():
			return
		case <-time.After(temperatureEvery):
		}
	}
}

// read reads the file, for as long as ctx lasts. A file that hangs in the kernel is left behind at the end, and holds
// up neither a reload nor a stop.
func (t *thermometer) read(ctx context.Context) (celsius float64, err error) {
	type reading struct {
		celsius float64
		err     error
	}
	came := make(chan reading, 1)
	go func() {
		c, err := readTemperature(t.file)
		came <- reading{c, err}
	}()
	select {
	case r := <-came:
		return r.celsius, r.err
	case <-ctx.Done():
		return 0, ctx.Err()
	}
}

// readTemperature reads thousandths of a degree Celsius, as the kernel's files give them (Linux, Documentation/hwmon
// and Documentation/w1/slaves/w1_therm).
func readTemperature(file string) (float64, error) {
	text, err := os.ReadFile(file)
	if err != nil {
		return 0, err
	}
	n, err := strconv.ParseInt(strings.TrimSpace(string(text)), 10, 32)
	if err != nil {
		return 0, fmt.Errorf("it says %.40q, not thousandths of a degree", text)
	}
	const powerOn = 85000 // what a 1-wire sensor says before it has measured
	if c := float64(n) / 1000; n == powerOn || drift.JudgeTemperature(c) != nil {
		return 0, fmt.Errorf("it says %d thousandths of a degree, which is no shop's temperature", n)
	}
	return float64(n) / 1000, nil
}
