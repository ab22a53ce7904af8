// Package temperature knows the temperature of the machine: from a file that a sensor's driver keeps, or as a person
// typed it.
package temperature

import (
	"context"
	"fmt"
	"log/slog"
	"strconv"
	"strings"
	"sync"
	"time"

	"tramd/cmd/tramd/internal/api"
	"tramd/cmd/tramd/internal/smallfile"
	"tramd/sweep/drift"
)

// How often the file is read, and how old a temperature may be when a run begins.
const (
	readEvery = time.Minute
	readAge   = 3 * readEvery
	typedAge  = 30 * time.Minute // what a person typed: iron is slow
)

// Thermometer holds the latest temperature: for a while what a person typed, else what the file says. Run reads the
// file on a goroutine of its own: a 1-wire sensor takes most of a second to answer, and with a loose wire far longer.
type Thermometer struct {
	file string // empty: there is none
	log  *slog.Logger

	mu      sync.Mutex
	celsius float64
	at      time.Time // zero: never read
	typed   float64
	typedAt time.Time // zero: never typed
}

// New returns a thermometer that reads a file; "" means that there is none.
func New(file string, log *slog.Logger) *Thermometer { return &Thermometer{file: file, log: log} }

// Now returns the temperature in degrees Celsius; nil where none is known that is recent enough.
func (t *Thermometer) Now() *float64 {
	t.mu.Lock()
	defer t.mu.Unlock()
	if !t.typedAt.IsZero() && time.Since(t.typedAt) < typedAge {
		c := t.typed
		return &c
	}
	if t.at.IsZero() || time.Since(t.at) > readAge {
		return nil
	}
	c := t.celsius
	return &c
}

// Set stores a temperature that a person read and typed.
func (t *Thermometer) Set(celsius float64) error {
	if err := drift.JudgeTemperature(celsius); err != nil {
		return api.Invalid.Of(err)
	}
	t.mu.Lock()
	defer t.mu.Unlock()
	t.typed, t.typedAt = celsius, time.Now()
	return nil
}

// Run reads the file once a minute until ctx ends.
func (t *Thermometer) Run(ctx context.Context) {
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
		case <-time.After(readEvery):
		}
	}
}

// read reads the file, for as long as ctx lasts. A file that hangs in the kernel is left behind at the end, and holds
// up neither a reload nor a stop.
func (t *Thermometer) read(ctx context.Context) (celsius float64, err error) {
	type reading struct {
		celsius float64
		err     error
	}
	came := make(chan reading, 1)
	go func() {
		c, err := readFile(t.file)
		came <- reading{c, err}
	}()
	select {
	case r := <-came:
		return r.celsius, r.err
	case <-ctx.Done():
		return 0, ctx.Err()
	}
}

func readFile(file string) (float64, error) {
	text, err := smallfile.Read(file)
	if err != nil {
		return 0, err
	}
	return parse(text)
}

// parse reads thousandths of a degree Celsius, as the kernel's files give them (Linux, Documentation/hwmon and
// Documentation/w1/slaves/w1_therm).
func parse(text []byte) (float64, error) {
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
