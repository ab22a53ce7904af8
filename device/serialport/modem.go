package serialport

import (
	"fmt"

	"go.bug.st/serial"
)

// Signals are the lines of a serial port that the far end sets, beside the data (ITU-T V.24, circuits 106, 107, 109 and
// 125, the numbers from memory).
type Signals struct{ CTS, DSR, DCD, RI bool }

// Modem is a serial port of which nothing but these lines is used. It is set up, locked and opened as a Device's port
// is. The adapter's own DTR and RTS stand on meanwhile, so that a contact between one of them and an input is all that
// is needed.
type Modem struct {
	path string
	port *Port
	bits interface {
		GetModemStatusBits() (*serial.ModemStatusBits, error)
	}
}

// OpenModem opens the port that path names at this moment.
func OpenModem(path string) (*Modem, error) {
	port, err := Open(path, DefaultBaud, Plain, LockDir)
	if err != nil {
		return nil, err
	}
	return &Modem{path: path, port: port, bits: port.line}, nil
}

// Signals reads the lines.
func (m *Modem) Signals() (Signals, error) {
	b, err := m.bits.GetModemStatusBits()
	if err != nil {
		return Signals{}, fmt.Errorf(
			"port %s does not tell its modem lines (not every adapter has them; check its cable): %w", m.path, err)
	}
	return Signals{CTS: b.CTS, DSR: b.DSR, DCD: b.DCD, RI: b.RI}, nil
}

// Close gives everything back.
func (m *Modem) Close() error { return m.port.Close() }
