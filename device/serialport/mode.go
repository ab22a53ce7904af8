package serialport

import (
	"fmt"

	"go.bug.st/serial"
)

// DefaultBaud is the rate of a line whose rate is not given.
const DefaultBaud = 115200

// Plain is what most instruments use.
var Plain = Mode{8, 'N', 1}

// Mode is the framing of a character on the line.
type Mode struct {
	bits   int
	parity byte // N, E, O
	stops  int
}

// ParseMode reads "8N1": bits, parity, stop bits.
func ParseMode(s string) (Mode, error) {
	if len(s) == 3 && (s[0] == '7' || s[0] == '8') && (s[1] == 'N' || s[1] == 'E' || s[1] == 'O') &&
		(s[2] == '1' || s[2] == '2') {
		return Mode{int(s[0] - '0'), s[1], int(s[2] - '0')}, nil
	}
	return Mode{},
		fmt.Errorf(
			`line %q: write data bits (7 or 8), parity (N none, E even, O odd) and stop bits (1 or 2), for example "8N1" or "7E1"`, s)
}

// CheckMode refuses what is not the framing of a character.
func CheckMode(s string) error {
	_, err := ParseMode(s)
	return err
}

func (m Mode) with(baud int) *serial.Mode {
	s := &serial.Mode{BaudRate: baud, DataBits: m.bits, Parity: serial.NoParity, StopBits: serial.OneStopBit}
	switch m.parity {
	case 'E':
		s.Parity = serial.EvenParity
	case 'O':
		s.Parity = serial.OddParity
	}
	if m.stops == 2 {
		s.StopBits = serial.TwoStopBits
	}
	return s
}
