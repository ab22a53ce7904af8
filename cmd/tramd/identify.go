package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"strings"
	"time"

	"tramd/cmd/tramd/internal/identify"
	"tramd/cmd/tramd/internal/tui"
	"tramd/device/serialport"
)

type identifyCmd struct {
	Port    string  `arg:"" help:"/dev/serial/by-id/... (tramd ports lists them)."`
	Ask     bool    `help:"Also ask: write the usual prompts to the port. Read the caution first."`
	Seconds float64 `default:"3" help:"How long to listen at each speed."`
	Bauds   []int   `name:"baud" help:"Only these speeds."`
	Radius  float64 `placeholder:"MM" help:"The indicator's radius in mm, for the block: from the spindle axis to the contact point."`
	JSON    bool    `name:"json" help:"Print one JSON object: what was found, and its block as text."`
}

// usualBauds are in the order in which they are met.
var usualBauds = []int{115200, 9600, 19200, 38400, 57600, 4800, 2400, 1200, 230400, 460800, 921600}

// usualPrompts are what instruments take for "send a reading".
var usualPrompts = []string{"\r", "?", "?\r", "?\r\n", "\x05"}

const identifyCaution = `Caution: with --ask this port is written to. What is written may move a machine if something else than an indicator
listens there, a motion controller for one. Look twice which port it is, keep clear of whatever a motor moves, and
unplug what you are not sure of.
`

// heardEnough bytes tell what there is to tell.
const heardEnough = 4000

// Run listens, asks if it may, and prints the block of a configuration.
func (c *identifyCmd) Run(e *env) error {
	if !(c.Seconds >= 0.1 && c.Seconds <= 600) {
		return usageError{fmt.Errorf("--seconds %v: write 0.1 to 600", c.Seconds)}
	}
	if c.Radius != 0 && !(c.Radius >= 1 && c.Radius <= 10000) {
		return usageError{fmt.Errorf("--radius %v: write the radius in mm, 1 to 10000", c.Radius)}
	}
	if len(c.Bauds) == 0 {
		c.Bauds = usualBauds
	}
	probe, err := serialport.OpenProbe(c.Port)
	if err != nil {
		return err
	}
	defer probe.Close()
	s := &search{env: e, probe: probe, cmd: c}
	fmt.Fprintf(
		e.err,
		"Listening to %s. Move the plunger slowly in and out by a millimetre or so, through zero, all the while. Ctrl-C stops.\n", c.Port)
	f, found, err := s.listen()
	if err == nil && !found && c.Ask {
		fmt.Fprint(e.err, identifyCaution)
		f, found, err = s.ask()
	}
	if err != nil {
		return err
	}
	if !found {
		return s.nothing()
	}
	if c.JSON {
		return json.NewEncoder(e.out).Encode(identifyOut{
			Port: c.Port, What: f.What, Baud: f.Baud, Line: f.Line, Readings: f.Readings, Bad: f.Bad,
			Channels: f.Channels, Notes: f.Notes, Block: f.Blocks(c.Port, c.Radius),
		})
	}
	return show(e, c.Port, c.Radius, f)
}

// identifyOut is what programs read of a port whose frame was found.
type identifyOut struct {
	Port     string   `json:"port"`
	What     string   `json:"what"` // the kind of frame, in words
	Baud     int      `json:"baud"`
	Line     string   `json:"line"` // bits, parity, stop bits
	Readings int      `json:"readings"`
	Bad      int      `json:"bad"`
	Channels []string `json:"channels,omitempty"`
	Notes    []string `json:"notes,omitempty"`
	Block    string   `json:"block"` // TOML, for the configuration
}

// search is one go at a port.
type search struct {
	*env
	probe *serialport.Probe
	cmd   *identifyCmd
	heard []identify.Heard
	bytes int
}

// hear listens at one setting, and keeps it.
func (s *search) hear(baud int, line, request string, long, pause time.Duration) (identify.Heard, error) {
	chunks, err := s.probe.Listen(s.ctx, baud, line, long, heardEnough, request, pause)
	h := identify.Heard{Baud: baud, Line: line, Request: request, Chunks: chunks}
	if err != nil {
		if errors.Is(err, context.Canceled) {
			err = errors.New("stopped before anything was found")
		}
		return h, err
	}
	s.bytes += received(h)
	return h, nil
}

func received(h identify.Heard) int {
	n := 0
	for _, c := range h.Chunks {
		if !c.Asked {
			n += len(c.Data)
		}
	}
	return n
}

// listen tries each speed until one is clear beyond doubt, then each with a parity bit, and takes the best of all.
func (s *search) listen() (identify.Finding, bool, error) {
	long := time.Duration(s.cmd.Seconds * float64(time.Second))
	for _, line := range []string{"8N1", "8E1"} {
		for i, baud := range s.cmd.Bauds {
			h, err := s.hear(baud, line, "", long, 0)
			if err != nil {
				return identify.Finding{}, false, err
			}
			fmt.Fprintf(s.err, "  %7d baud %s: %d bytes\n", baud, line, received(h))
			s.heard = append(s.heard, h)
			if f, ok := identify.Find([]identify.Heard{h}); ok && f.Certain() {
				return f, true, nil
			}
			if i == 1 && s.bytes == 0 { // at a wrong speed something would have come all the same
				return identify.Finding{}, false, nil
			}
		}
	}
	f, ok := identify.Find(s.heard)
	return f, ok, nil
}

// ask tries the usual prompts at each speed, then the first registers of the first addresses.
func (s *search) ask() (identify.Finding, bool, error) {
	type question struct {
		line, request string
		baud          int
	}
	var all []question
	for _, baud := range s.cmd.Bauds {
		for _, p := range usualPrompts {
			all = append(all, question{"8N1", p, baud})
		}
		for _, line := range []string{"8N1", "8E1"} {
			for _, address := range []byte{1, 2} {
				for _, function := range []byte{3, 4} {
					// Two registers, or one where there is but one.
					all = append(all, question{line, identify.ModbusRequest(address, function, 0, 2), baud},
						question{line, identify.ModbusRequest(address, function, 0, 1), baud})
				}
			}
		}
	}
	const wait = 200 * time.Millisecond
	for _, q := range all {
		h, err := s.hear(q.baud, q.line, q.request, wait, wait)
		if err != nil {
			return identify.Finding{}, false, err
		}
		if received(h) == 0 {
			continue
		}
		fmt.Fprintf(s.err, "  %7d baud %s, asked %q: an answer\n", q.baud, q.line, q.request)
		h, err = s.hear(q.baud, q.line, q.request, time.Duration(s.cmd.Seconds*float64(time.Second)),
			50*time.Millisecond)
		if err != nil {
			return identify.Finding{}, false, err
		}
		s.heard = append(s.heard, h)
		if f, ok := identify.Find([]identify.Heard{h}); ok {
			return f, true, nil
		}
	}
	return identify.Finding{}, false, nil
}

// nothing says what there was.
func (s *search) nothing() error {
	most, best := 0, identify.Heard{}
	for _, h := range s.heard {
		if n := received(h); n > most {
			most, best = n, h
		}
	}
	switch {
	case most == 0 && s.cmd.Ask:
		return errors.New(
			"nothing was heard, asked or not: check that the instrument is on and its cable; some send only when a button is pressed")
	case most == 0:
		return errors.New(
			"nothing was heard: check that the instrument is on and its cable; one that sends only when it is asked needs --ask (read its caution: tramd identify --help)")
	}
	fmt.Fprintf(s.err, "The most was heard at %d baud %s; its first bytes:\n", best.Baud, best.Line)
	var b strings.Builder
	shown := 0
	for _, c := range best.Chunks {
		if shown < 96 {
			tui.WriteRows(&b, c.At.Seconds(), c.Data[:min(len(c.Data), 96-shown)], c.Asked, "")
			shown += len(c.Data)
		}
	}
	if _, err := io.WriteString(s.err, b.String()); err != nil {
		return err
	}
	return errors.New(
		"what was heard is nothing that tramd can tell from noise, so nothing is claimed: try again while the plunger moves, or describe the frame by its maker's manual and look at it with tramd listen")
}

// show prints the block on standard output and the rest beside it.
func show(e *env, port string, radiusMM float64, f identify.Finding) error {
	last := make([]string, 0, 4)
	for _, x := range f.Samples[max(0, len(f.Samples)-4):] {
		last = append(last, tui.SampleText(x))
	}
	fmt.Fprintf(e.err, "Found: %s at %d baud %s; %d readings, %d bad frames; the latest %s.\n", f.What, f.Baud, f.Line,
		f.Readings, f.Bad, strings.Join(last, ", "))
	fmt.Fprintln(
		e.err,
		"The block below read them. Put it into the configuration, with the radius; larger must mean that the plunger is further in.")
	var b strings.Builder
	for _, n := range f.Notes {
		fmt.Fprintf(&b, "# %s\n", n)
	}
	b.WriteString(f.Blocks(port, radiusMM))
	_, err := io.WriteString(e.out, b.String())
	return err
}

// Help stands behind the flags.
func (c *identifyCmd) Help() string { return identifyCaution }
