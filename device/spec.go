package device

import (
	"errors"
	"fmt"
	"net"
	"strings"
	"time"

	"tramd/device/frame"
	"tramd/device/serialport"
)

// Spec describes one port and what speaks through it.
type Spec struct {
	Name string
	Role frame.Role
	// Port is the path of a serial port ("/dev/serial/by-id/..."), "tcp://host:port", or "replay:FILE".
	Port string
	Baud int    // 0: 115200; serial ports only
	Line string // bits, parity and stop bits: "" is "8N1"; serial ports only
	// Frame is "text" for an indicator, "encoder" or "pulse" (once a turn) for an angle, "pulse" for a trigger, or one
	// of those below that says what it looks like: "pattern", "digits", "binary", "modbus".
	Frame         string
	Pattern       *frame.Pattern
	Digits        *frame.Digits
	Binary        *frame.Binary
	Registers     []frame.Register // of "modbus": one for each value of the port
	Asking        Asking           // of an instrument that sends only when it is asked
	CountsPerTurn int64            // encoder frame: 0 when it sends degrees
	IndexMark     string           // encoder frame: the word for its index mark; empty = it has none
	StaleAfter    time.Duration    // 0: 2 s. An open port that is silent for longer says so in Status; see Talk
	// it sends only at times, as when it is moved or its button is pressed: silence means nothing
	AtTimes    bool
	Capture    string // when set, every byte read is also recorded to this file; see package capture
	Tap        Tap    // when set, is shown all that comes and goes
	ReplayFast bool   // replay as fast as the sink takes it, not with the timing of the capture

	mode serialport.Mode
}

// Tap is shown the bytes of each read before they are decoded, and those of each question once they are sent. It is
// called where the sink is called, must not wait, and keeps no reference to p.
type Tap func(at Stamp, p []byte, asked bool)

const (
	tcpScheme    = "tcp://"
	replayScheme = "replay:"
)

// Limits of a line's rate.
const (
	minBaud = 50
	maxBaud = 4_000_000
)

const defaultStale = 2 * time.Second

// layout returns what the spec says of the frames.
func (s Spec) layout() frame.Layout {
	return frame.Layout{Role: s.Role, Frame: s.Frame, Pattern: s.Pattern, Digits: s.Digits, Binary: s.Binary,
		Registers: s.Registers, Asks: s.Asking.Asks, CountsPerTurn: s.CountsPerTurn, IndexMark: s.IndexMark}
}

// withDefaults checks the spec and fills in what was left open.
func (s Spec) withDefaults() (Spec, error) {
	bad := func(format string, args ...any) (Spec, error) {
		return Spec{}, fmt.Errorf("device %q: %w", s.Name, fmt.Errorf(format, args...))
	}
	if s.Name == "" {
		return Spec{}, errors.New("device has no name: give it one")
	}
	want := map[frame.Role]string{frame.RoleIndicator: "text", frame.RoleAngle: "encoder",
		frame.RolePosition: "encoder", frame.RoleTrigger: "pulse", frame.RoleMachine: frame.FrameModbus}[s.Role]
	if want == "" {
		return bad("role %d is not known: make it an indicator or an angle source", s.Role)
	}
	if s.Frame == "" {
		s.Frame = want
	}
	if err := s.layout().Check(want); err != nil {
		return bad("%w", err)
	}
	if s.CountsPerTurn < 0 {
		return bad("counts_per_turn is %d: write a positive count, or 0 when the encoder sends degrees",
			s.CountsPerTurn)
	}
	if s.CountsPerTurn != 0 && s.Role != frame.RoleAngle {
		return bad("counts_per_turn belongs to an encoder: remove it, or write frame = \"encoder\"")
	}
	if s.Baud == 0 {
		s.Baud = serialport.DefaultBaud
	}
	if s.Baud < minBaud || s.Baud > maxBaud {
		return bad("baud %d is not a rate of a serial line: write one from %d to %d, as the instrument's manual says",
			s.Baud, minBaud, maxBaud)
	}
	if s.Line == "" {
		s.Line = "8N1"
	}
	mode, err := serialport.ParseMode(s.Line)
	if err != nil {
		return bad("%w", err)
	}
	s.mode = mode
	if s.Asking, err = s.Asking.withDefaults(s.Frame == frame.FrameModbus); err != nil {
		return bad("%w", err)
	}
	if s.StaleAfter < 0 {
		return bad("the time after which a reading is stale is negative: write a positive one")
	}
	if s.StaleAfter == 0 {
		s.StaleAfter = defaultStale
	}
	return s, s.checkPort()
}

func (s Spec) checkPort() error {
	bad := func(format string, args ...any) error {
		return fmt.Errorf("device %q: %w", s.Name, fmt.Errorf(format, args...))
	}
	file, isReplay := strings.CutPrefix(s.Port, replayScheme)
	addr, isTCP := strings.CutPrefix(s.Port, tcpScheme)
	switch {
	case s.Port == "":
		return bad("no port: write its path, as ls -l /dev/serial/by-id shows it")
	case strings.IndexByte(s.Port, 0) >= 0:
		return bad("port %q holds a zero byte: write the path without it", s.Port)
	case isTCP:
		host, port, err := net.SplitHostPort(addr)
		if err != nil || host == "" || port == "" {
			return bad("port %q: write tcp://host:port", s.Port)
		}
	case isReplay && file == "":
		return bad("port %q: write replay:FILE", s.Port)
	case isReplay && file == s.Capture:
		return bad("capture %q is the file being replayed: record to another", file)
	case !isReplay && strings.Contains(s.Port, "://"):
		return bad("port %q: only tcp://host:port, replay:FILE and paths are known", s.Port)
	}
	return nil
}
