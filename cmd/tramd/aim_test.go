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
	"tramd/sweep/advice"
)

// A person follows the terminal to the aim of a rail behind a real port: read at one end, park, move, tighten, read
// again, and log. The advice comes from an imported traverse.
func TestARailIsAimedInTheTerminal(t *testing.T) {
	t.Parallel()
	s, port := aimShop(t)
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
	p := aim(t, s, port, 0.1, "rail")
	p.until("lever reads +0.100 mm. Go to 0 mm, let the reading lie still")
	p.enter()
	p.until("Go to 500 mm and park there")
	p.reads(0.3)
	p.until("lever reads +0.300 mm. Go to 500 mm")
	p.enter()
	p.until(fmt.Sprintf("%+.3f mm to go. Move rear bolts: the reading must go down", target-0.2))
	p.reads(0.2)
	p.until(fmt.Sprintf("%+.3f mm to go", target-0.1))
	p.reads(0.1 + target)
	p.tightensAndGoesBack(0.1+target, 0.1)
	p.log(a.Moves[0], (target-0.2)/a.Aims[0].ChangeMM)
}

// The head's travel is aimed by a shank and by a square, whose own lean is in what they show: the aim is a change. A
// scale on another axis has no say in it.
func TestABarAndASquareAreAimedInTheTerminal(t *testing.T) {
	t.Parallel()
	for _, of := range []string{"bar", "square"} {
		t.Run(of, func(t *testing.T) {
			t.Parallel()
			s, port := aimShop(t)
			s.addTo(t, `[position]
port = "/dev/none-1"
counts_per_mm = 200.0
zero_mm = 0.0
[[adjuster]]
name = "column shim"
kind = "shim"
spacing_mm = 200.0
leans = "right"
[[`+of+`]]
name = "post"
joint = "column"
travel_mm = [0, 40, 80]
sides_deg = [0]
adjusters = ["column shim"]
[clock]
trusted = true
`)
			s.daemon(t)
			csv := "t_s,position_mm,reading_mm,side_deg,turned_deg\n"
			for i := range 12 { // the head's travel leans by 0.9 mm/m, the post itself by 0.2
				at, own := float64(i%3)*40, 0.2e-3*float64(1-2*(i/6))
				csv += fmt.Sprintf("%d,%g,%.4f,0,%d\n", 8*i, at, 0.2-(0.9e-3+own)*at+0.0003*float64(i%2), 180*(i/6))
			}
			path := filepath.Join(s.dir, "post.csv")
			if err := os.WriteFile(path, []byte(csv), 0o600); err != nil {
				t.Fatal(err)
			}
			if status, _, errOut := call(t, "import", "--config", s.config, "--of", of, "--name", "post", "--at",
				time.Now().Format(time.RFC3339Nano), path); status == exitFailed {
				t.Fatal(errOut)
			}
			_, answer, errOut := call(t, "advise", "--config", s.config, "--of", "post", "--json")
			var a api.JointAdvice
			if err := json.Unmarshal([]byte(answer), &a); err != nil || len(a.Aims) != 1 {
				t.Fatalf("%v: %s%s", err, answer, errOut)
			}
			change := a.Aims[0].ChangeMM
			if a.Aims[0].Scale || a.Aims[0].TargetMM != nil || math.Abs(change-0.072) > 0.02 {
				t.Fatalf("%+v", a.Aims[0])
			}
			p := aim(t, s, port, 0.2, "post")
			p.until("lever reads +0.200 mm. Go to 0 mm, side 0°")
			p.enter()
			p.until("Go to 80 mm, side 0° and park there")
			p.reads(0.11)
			p.until("lever reads +0.110 mm. Go to 80 mm")
			p.enter()
			p.until(fmt.Sprintf("%+.3f mm to go. Move column shim: the reading must go up", change))
			p.reads(0.11 + change)
			p.tightensAndGoesBack(0.11+change, 0.2)
			p.log(a.Moves[0], 1)
		})
	}
}

// aimShop is a shop with one lever indicator that speaks by itself.
func aimShop(t *testing.T) (shop, *devicetest.Line) {
	t.Helper()
	port := devicetest.Open(t)
	return newShop(t, `[[indicator]]
name = "lever"
port = "`+port.Path+`"
baud = 115200
frame = "text"
radius_mm = 120.0
[angle]
source = "stations"
stations_deg = [0, 90, 180, 270]
`), port
}

// aimed is `tramd aim` under way, and the indicator it goes by.
type aimed struct {
	t       *testing.T
	s       shop
	lines   *bufio.Scanner
	rest    io.Reader
	press   io.Writer
	reading chan float64
	ended   chan int
}

func aim(t *testing.T, s shop, port *devicetest.Line, mm float64, name string) *aimed {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), 2*time.Minute)
	keys, press := io.Pipe()
	said, out := io.Pipe()
	p := &aimed{t: t, s: s, lines: bufio.NewScanner(said), rest: said, press: press, reading: make(chan float64, 1),
		ended: make(chan int, 1)}
	done := make(chan struct{})
	go func() {
		defer close(done)
		for ctx.Err() == nil {
			select {
			case mm = <-p.reading:
			case <-time.After(20 * time.Millisecond):
			}
			if port.TryWrite(fmt.Appendf(nil, "%.4f\n", mm)) != nil {
				return
			}
		}
	}()
	t.Cleanup(func() { cancel(); <-done })
	go func() {
		status := run(ctx, []string{"aim", "--config", s.config, name}, keys, out, io.Discard)
		out.Close()
		p.ended <- status
	}()
	return p
}

func (p *aimed) reads(mm float64) { p.reading <- mm }

func (p *aimed) until(want string) {
	p.t.Helper()
	for p.lines.Scan() {
		if strings.Contains(p.lines.Text(), want) {
			return
		}
	}
	p.t.Fatalf("it never said %q", want)
}

// tightensAndGoesBack follows an aim from its target to its end: far is what the lever reads where the aim is, near what it
// reads back at 0 mm.
func (p *aimed) tightensAndGoesBack(far, near float64) {
	p.t.Helper()
	p.until("There. Stop, and press Enter to tighten")
	p.enter()
	p.until(fmt.Sprintf("lever reads %+.3f mm. Tighten, then press Enter", far))
	p.enter()
	p.until("Go back to 0 mm")
	p.reads(near)
	p.until(fmt.Sprintf("lever reads %+.3f mm. Go back to 0 mm", near))
	p.enter()
	p.until("against the near one")
}

func (p *aimed) enter() {
	p.t.Helper()
	if _, err := io.WriteString(p.press, "\n"); err != nil {
		p.t.Fatal(err)
	}
}

// log has the move logged, and expects that share of what was advised: by what the indicator showed.
func (p *aimed) log(m advice.Move, share float64) {
	p.t.Helper()
	if _, err := io.WriteString(p.press, "l"); err != nil {
		p.t.Fatal(err)
	}
	go io.Copy(io.Discard, p.rest) //nolint:errcheck // what it still says
	if status := <-p.ended; status != exitDone {
		p.t.Fatalf("status %d", status)
	}
	_, list, _ := call(p.t, "event", "list", "--config", p.s.config)
	_, logged, found := strings.Cut(list, m.Adjuster+" by ")
	var by float64
	want := m.By * share
	if n, err := fmt.Sscan(logged, &by); !found || n != 1 || math.Abs(by-want) > 0.0002+math.Abs(want)/1000 {
		p.t.Errorf("a move by %v was logged, want %v: %v, %s", by, want, err, list)
	}
}
