package serialport

import (
	"errors"
	"strings"
	"testing"

	"go.bug.st/serial"

	"tramd/device/devicetest"
)

type madeBits struct {
	serial.ModemStatusBits
	err error
}

func (b madeBits) GetModemStatusBits() (*serial.ModemStatusBits, error) {
	return &b.ModemStatusBits, b.err
}

// A pseudo-terminal has no modem lines, which must be said; what they mean is tried on made-up bits alone.
func TestModemLinesAreTakenAsTheyAre(t *testing.T) {
	l := devicetest.Open(t)
	m, err := OpenModem(l.Path)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := OpenModem(l.Path); !errors.Is(err, ErrInUse) {
		t.Errorf("opened twice: %v", err)
	}
	if _, err := m.Signals(); err == nil || !strings.Contains(err.Error(), l.Path+" does not tell its modem lines") {
		t.Errorf("a pseudo-terminal told %v", err)
	}
	for _, b := range []madeBits{
		{ModemStatusBits: serial.ModemStatusBits{CTS: true}}, {ModemStatusBits: serial.ModemStatusBits{DSR: true}},
		{ModemStatusBits: serial.ModemStatusBits{DCD: true}}, {ModemStatusBits: serial.ModemStatusBits{RI: true}},
	} {
		m.bits = b
		if got, err := m.Signals(); err != nil || got != (Signals{b.CTS, b.DSR, b.DCD, b.RI}) {
			t.Errorf("%+v read as %+v, %v", b, got, err)
		}
	}
	if err := m.Close(); err != nil {
		t.Error(err)
	}
	if _, err := OpenModem("/dev/serial/by-id/none"); !errors.Is(err, ErrAbsent) {
		t.Errorf("a port that is not there: %v", err)
	}
}
