package main

import (
	"bufio"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"tramd/cmd/tramd/internal/api"
	"tramd/device/devicetest"
)

// A person follows the terminal to the aim of a rail behind a real port: read at one end, park, move, tighten, read
// again, and log. The advice comes from an imported traverse.
func TestARailIsAimedInTheTerminal(t *testing.T) {
	t.Parallel()
	port := devicetest.Open(t)
	s := newShop(t, `[[indicator]]
name = "lever"
port = "`+port.Path+`"
baud = 115200
frame = "text"
radius_mm = 120.0
[angle]
source = "stations"
stations_deg = [0, 90, 180, 270]
`)
	s.addTo(t, `[[adjuster]]
name = "rear bolts"
kind = "shim"
spacing_mm = 400.0
moves = "slope"
[[traverse]]
name = "rail"
joint = "rails"
positions_mm = [0, 250, 500]
adjusters = ["rear bolts"]
[clock]
trusted = true
`)
	s.daemon(t)
	csv := "t_s,position_mm,reading_mm\n"
	for i := range 11 {
		csv += fmt.Sprintf("%d,%d,%.4f\n", 8*i, 50*i, 0.1+0.0004*float64(50*i)+0.0003*float64(i%3))
	}
	path := filepath.Join(s.dir, "rail.csv")
	if err := os.WriteFile(path, []byte(csv), 0o600); err != nil {
		t.Fatal(err)
	}
	if status, _, errOut := call(t, "import", "--config", s.config, "--name", "rail", "--at",
		time.Now().Format(time.RFC3339Nano), path); status == exitFailed {
		t.Fatal(errOut)
	}
	if status, _, errOut := call(t, "aim", "--config", s.config, "rail", "--adjuster", "jack"); status != exitUsage ||
		!strings.Contains(errOut, `no move of "jack" is advised now; there are rear bolts`) {
		t.Errorf("%d, %s", status, errOut)
	}
	_, answer, _ := call(t, "advise", "--config", s.config, "--of", "rail", "--json")
	var a api.JointAdvice
	if err := json.Unmarshal([]byte(answer), &a); err != nil || len(a.Aims) != 1 {
		t.Fatalf("%v: %s", err, answer)
	}
	target := *a.Aims[0].TargetMM
	var reading = make(chan float64, 1)
	ctx, cancel := context.WithTimeout(t.Context(), 2*time.Minute)
	defer cancel()
	done := make(chan struct{})
	go func() {
		defer close(done)
		mm := 0.1
		for ctx.Err() == nil {
			select {
			case mm = <-reading:
			case <-time.After(20 * time.Millisecond):
			}
			if port.TryWrite(fmt.Appendf(nil, "%.4f\n", mm)) != nil {
				return
			}
		}
	}()
	defer func() { cancel(); <-done }()

	keys, press := io.Pipe()
	said, out := io.Pipe()
	ended := make(chan int, 1)
	go func() {
		status := run(ctx, []string{"aim", "--config", s.config, "rail"}, keys, out, io.Discard)
		out.Close()
		ended <- status
	}()
	lines := bufio.NewScanner(said)
	until := func(want string) {
		t.Helper()
		for lines.Scan() {
			if strings.Contains(lines.Text(), want) {
				return
			}
		}
		t.Fatalf("it never said %q", want)
	}
	enter := func() {
		t.Helper()
		if _, err := io.WriteString(press, "\n"); err != nil {
			t.Fatal(err)
		}
	}
	until("lever reads +0.100 mm. Go to 0 mm, let the reading lie still")
	enter()
	until("Go to 500 mm and park there")
	reading <- 0.3
	until("lever reads +0.300 mm. Go to 500 mm")
	enter()
	until(fmt.Sprintf("%+.3f mm to go. Move rear bolts: the reading must go down", target-0.2))
	reading <- 0.2
	until(fmt.Sprintf("%+.3f mm to go", target-0.1))
	reading <- 0.1 + target
	until("There. Stop, and press Enter to tighten")
	enter()
	until("Tighten, then press Enter")
	enter()
	reading <- 0.1
	until("lever reads +0.100 mm. Go back to 0 mm")
	enter()
	until("against the near one")
	if _, err := io.WriteString(press, "l"); err != nil {
		t.Fatal(err)
	}
	go io.Copy(io.Discard, said) //nolint:errcheck // what it still says
	if status := <-ended; status != exitDone {
		t.Fatalf("status %d", status)
	}
	_, list, _ := call(t, "event", "list", "--config", s.config)
	_, logged, found := strings.Cut(list, "rear bolts by ")
	var by float64
	want := a.Moves[0].By * (target - 0.2) / a.Aims[0].ChangeMM // by what the indicator showed
	if n, err := fmt.Sscan(logged, &by); !found || n != 1 || math.Abs(by-want) > 0.02 {
		t.Errorf("a move by %v was logged, want %v: %v, %s", by, want, err, list)
	}
}
