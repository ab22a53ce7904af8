package main

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"testing"
	"time"

	"tramd/cmd/tramd/internal/config"
	"tramd/cmd/tramd/internal/identify/identifytest"
	"tramd/device/devicetest"
	"tramd/device/serialport"
)

// play sends a stream into a line until the line is unplugged.
func play(l *devicetest.Line, s identifytest.Stream) (stop func()) {
	done := make(chan struct{})
	go func() {
		defer close(done)
		if s.Answer == nil {
			for k := 0; ; k++ {
				out := bytes.Clone(s.Frame(k))
				if s.Every == 0 {
					out = append(out, s.Frame(k+1)...)
					k++
				}
				if l.TryWrite(out) != nil {
					return
				}
				time.Sleep(max(s.Every, 2*time.Millisecond))
			}
		}
		buf := make([]byte, 64)
		for {
			n, err := l.Far().Read(buf)
			if errors.Is(err, os.ErrClosed) {
				return
			}
			if err != nil { // nobody has opened the other end
				time.Sleep(time.Millisecond)
				continue
			}
			if answer := s.Answer(string(buf[:n])); answer != nil && l.TryWrite(answer) != nil {
				return
			}
		}
	}()
	return func() { l.Unplug(); <-done }
}

// Each made-up instrument plays into a real port; the block that is printed must be one that a configuration takes and
// that reads what was sent. Most of the time is waiting, so many play at once.
func TestIdentifyFindsEachThroughAPort(t *testing.T) {
	t.Parallel()
	streams := append(append(identifytest.Texts(), identifytest.Bytes()...), identifytest.Asked()...)
	if len(streams) < 30 {
		t.Fatalf("only %d streams", len(streams))
	}
	var all sync.WaitGroup
	places := make(chan struct{}, 6)
	for _, s := range streams {
		dir := t.TempDir()
		lines := [2]*devicetest.Line{freeLine(t), freeLine(t)}
		all.Go(func() {
			places <- struct{}{}
			defer func() { <-places }()
			if err := identified(t, s, lines, dir); err != nil {
				t.Errorf("%s: %v", s.Name, err)
			}
		})
	}
	all.Wait()
}

func identified(t *testing.T, s identifytest.Stream, lines [2]*devicetest.Line, dir string) error {
	stop := play(lines[0], s)
	args := []string{"identify", lines[0].Path, "--seconds", "1.5", "--baud", "115200", "--radius", "90"}
	if s.Answer != nil {
		args = append(args, "--ask")
	}
	status, block, said := call(t, args...)
	stop()
	if status != 0 {
		return fmt.Errorf("status %d: %s", status, said)
	}
	if s.Answer != nil && !strings.Contains(said, "Caution: with --ask this port is written to.") {
		return fmt.Errorf("it was asked without the caution: %s", said)
	}
	// Now as a port brings it that is set as the block says: a pseudo-terminal has eight bits whatever it is set to.
	if frame := s.Frame; frame != nil && s.Line[0] == '7' {
		s.Frame = func(k int) []byte {
			b := frame(k)
			for i := range b {
				b[i] &= 0x7F
			}
			return b
		}
	}
	defer play(lines[1], s)()
	block = strings.ReplaceAll(block, lines[0].Path, lines[1].Path)
	file := filepath.Join(dir, "wren.toml")
	text := "machine = { name = \"wren\" }\nstore = { path = \"/tmp/none.db\" }\nangle = { source = \"stations\" }\n" +
		block
	if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
		return err
	}
	c, err := config.Load(file)
	if err != nil {
		return fmt.Errorf("%w in\n%s", err, block)
	}
	// Nor does it have a parity bit, so what is heard with one is heard as well without.
	if got := c.IndicatorPorts()[0].Line; got != s.Line && !(got == "8E1" && s.Line == "8N1") {
		return fmt.Errorf("line %s, want %s", got, s.Line)
	}
	status, out, said := call(t, "listen", "--config", file, "--seconds", "0.8")
	if m := regexp.MustCompile(`(?m)^([0-9]+) readings in`).FindStringSubmatch(out); status != 0 || m == nil ||
		m[1] == "0" {
		return fmt.Errorf("status %d: %s%s\n%s", status, out, said, block)
	}
	return nil
}

// freeLine opens a line whose name nobody holds: locks are known by name, and a program elsewhere on this machine, with
// pseudo-terminals of its own, may hold one of the same name.
func freeLine(t *testing.T) *devicetest.Line {
	t.Helper()
	for range 20 {
		l := devicetest.Open(t) // a taken one stays open, so that the next has another name
		if e, err := serialport.OpenProbe(l.Path); err == nil {
			if err := e.Close(); err != nil {
				t.Fatal(err)
			}
			return l
		}
	}
	t.Fatal("the names of twenty pseudo-terminals are all held by others")
	return nil
}

func TestIdentifyClaimsNothingForNoise(t *testing.T) {
	t.Parallel()
	for _, name := range []string{"random bytes", "random figures", "a line held low", "a clock", "a thermometer",
		"a frame at rest", "random under a mark"} {
		t.Run(name, func(t *testing.T) {
			data := identifytest.Noise()[name]
			l := freeLine(t)
			defer play(l, identifytest.Stream{Every: 5 * time.Millisecond, Frame: func(k int) []byte {
				from := 20 * k % (len(data) - 20)
				return data[from : from+20]
			}})()
			status, block, said := call(t, "identify", l.Path, "--seconds", "0.5", "--baud", "9600")
			if status != exitFailed || block != "" || !strings.Contains(said, "nothing is claimed") {
				t.Errorf("status %d: %s%s", status, block, said)
			}
		})
	}
}

// A program gets what a person reads, and the same block.
func TestIdentifyForAProgram(t *testing.T) {
	t.Parallel()
	l := freeLine(t)
	stream := identifytest.Texts()[0]
	defer play(l, stream)()
	got := oneObject(t, exitDone, "identify", l.Path, "--seconds", "1.5", "--baud", "115200")
	if block, _ := got["block"].(string); !strings.Contains(block, "[[indicator]]") ||
		!strings.Contains(block, l.Path) || got["baud"] != 115200.0 || got["readings"] == 0.0 {
		t.Errorf("%v", got)
	}
}

func TestIdentifySilence(t *testing.T) {
	l := freeLine(t)
	status, block, said := call(t, "identify", l.Path, "--seconds", "0.1")
	if status != exitFailed || block != "" || !strings.Contains(said, "needs --ask") {
		t.Errorf("status %d: %s%s", status, block, said)
	}
}
