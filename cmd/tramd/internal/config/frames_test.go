package config

import (
	"fmt"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"tramd/device"
	"tramd/device/frame"
)

const frameHead = `
[machine]
name = "wren"
[store]
path = "/var/lib/tramd/tramd.db"
[angle]
source = "encoder"
port = "/dev/ttyUSB9"
counts_per_turn = 4096
[angle.binary]
layout = "AA value check"
bits = 24
order = "high_first"
check = "sum"
`

func parse(t *testing.T, text string) *Config {
	t.Helper()
	c, err := Parse("wren.toml", []byte(frameHead+text))
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func TestModbusIndicatorsOfOnePort(t *testing.T) {
	c := parse(t, `
[[indicator]]
name = "low"
port = "/dev/ttyUSB0"
baud = 19200
line = "8E1"
ask_every_ms = 50
radius_mm = 90.0
modbus = { address = 1, function = 4, register = 16, type = "float32", order = "CDAB", scale = "1 mm" }
[[indicator]]
name = "high"
port = "/dev/ttyUSB0"
radius_mm = 120.0
modbus = { address = 2, register = 0, type = "int16", scale = "0.001 mm" }
`)
	got := c.IndicatorPorts()
	want := []device.Spec{{
		Name: "low", Role: frame.RoleIndicator, Port: "/dev/ttyUSB0", Baud: 19200, Line: "8E1", Frame: "modbus",
		Registers: []frame.Register{
			{Address: 1, Function: 4, Register: 16, Type: "float32", Order: "CDAB", Scale: "1 mm", Channel: "low"},
			{Address: 2, Register: 0, Type: "int16", Scale: "0.001 mm", Channel: "high"},
		},
		Asking: device.Asking{Every: 50 * time.Millisecond},
	}}
	compare(t, got, want)
	if c.Indicators[1].Channel != "high" || c.Indicators[1].Baud != 19200 {
		t.Errorf("the second is %+v", c.Indicators[1])
	}
}

func TestIndicatorsAskedOnOnePort(t *testing.T) {
	got := parse(t, `
[[indicator]]
name = "low"
port = "/dev/ttyUSB0"
ask = "A\\r"
radius_mm = 90.0
pattern = { form = "{value} {unit}" }
[[indicator]]
name = "high"
port = "/dev/ttyUSB0"
ask = 'hex: 42 0D'
radius_mm = 120.0
`).IndicatorPorts()
	compare(t, got, []device.Spec{{
		Name: "low", Role: frame.RoleIndicator, Port: "/dev/ttyUSB0", Baud: 115200, Line: "8N1", Frame: "pattern",
		Pattern: &frame.Pattern{Form: "{value} {unit}"},
		Asking:  device.Asking{Asks: []frame.Ask{{Request: "A\r", Channel: "low"}, {Request: "B\r", Channel: "high"}}},
	}})
	// One question for two: the answers say whose they are.
	got = parse(t, `
[[indicator]]
name = "low"
port = "/dev/ttyUSB0"
ask = "?"
channel = "1"
radius_mm = 90.0
[[indicator]]
name = "high"
port = "/dev/ttyUSB0"
channel = "2"
radius_mm = 120.0
`).IndicatorPorts()
	if len(got) != 1 || fmt.Sprint(got[0].Asking.Asks) != "[{? }]" || got[0].Frame != "text" {
		t.Errorf("got %+v", got)
	}
}

func TestEncoderOfBytes(t *testing.T) {
	c := parse(t, `
[[indicator]]
name = "arm"
port = "/dev/ttyUSB0"
radius_mm = 90.0
[indicator.digits]
map = "FF s dddddd p u ."
plus = [0]
minus = [8]
units = { "0" = "mm", "1" = "in" }
gap_ms = 20
`)
	compare(t, []device.Spec{c.AnglePort()}, []device.Spec{{
		Name: "encoder", Role: frame.RoleAngle, Port: "/dev/ttyUSB9", Baud: 115200, Line: "8N1", Frame: "binary",
		CountsPerTurn: 4096,
		Binary:        &frame.Binary{Layout: "AA value check", Bits: 24, Order: "high_first", Check: "sum"},
	}})
	if got := c.IndicatorPorts(); got[0].Frame != "digits" || got[0].Digits.GapMS != 20 {
		t.Errorf("got %+v", got)
	}
}

// compare wants these specs, and wants each to be one that a device takes.
func compare(t *testing.T, got, want []device.Spec) {
	t.Helper()
	if diff := cmp.Diff(want, got, cmpopts.IgnoreUnexported(device.Spec{})); diff != "" {
		t.Error(diff)
	}
	for i, s := range got {
		if _, err := device.New(i, s, func(device.Batch) {}, nil); err != nil {
			t.Error(err)
		}
	}
}
