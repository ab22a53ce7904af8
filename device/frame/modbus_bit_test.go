package frame

import (
	"fmt"
	"math"
	"testing"
	"time"

	"tramd/device/devicetest"
)

func at(bit int) *int { return &bit }

// The questions and what their answers say: MODBUS Application Protocol V1.1b3, 6.1 (coils), 6.2 (discrete inputs) and
// 6.3 (registers, high byte first), the layouts from memory. The first bit asked for is the lowest of the first byte;
// the example of 6.1 has CD for coils 20 to 27, of which 20 is on and 21 is off.
func TestSignalsAndCountersOverModbus(t *testing.T) {
	hour := int64(time.Hour / time.Millisecond)
	for _, tc := range []struct {
		r        Register
		question string // without its check value
		data     []byte // of the answer
		kind     Kind
		want     int64
		fault    string
	}{
		{Register{Function: 1, Register: 0x13, Type: "bit"}, "\x07\x01\x00\x13\x00\x01", []byte{0xCD}, Level, 1, ""},
		{Register{Function: 1, Register: 0x14, Type: "bit"}, "\x07\x01\x00\x14\x00\x01", []byte{0xCD >> 1},
			Level, 0, ""},
		{Register{Register: 0xC4, Type: "bit"}, "\x07\x02\x00\xC4\x00\x01", []byte{1}, Level, 1, ""},
		{Register{Register: 5, Type: "bit", Bit: at(0)}, "\x07\x03\x00\x05\x00\x01", []byte{0, 1}, Level, 1, ""},
		{Register{Function: 4, Register: 5, Type: "bit", Bit: at(9)}, "\x07\x04\x00\x05\x00\x01", []byte{2, 0},
			Level, 1, ""},
		{Register{Function: 4, Register: 5, Type: "bit", Bit: at(9)}, "\x07\x04\x00\x05\x00\x01", []byte{0xFD, 0xFF},
			Level, 0, ""},
		{Register{Register: 9, Type: "uint16", Scale: "1 h"}, "\x07\x03\x00\x09\x00\x01", []byte{4, 0xD2}, RunTime,
			1234 * hour, ""},
		{Register{Function: 4, Register: 9, Type: "uint32", Scale: "0.1 h"}, "\x07\x04\x00\x09\x00\x02",
			[]byte{0, 0, 0x30, 0x39}, RunTime, 12345 * hour / 10, ""},
		{Register{Register: 9, Type: "uint32", Order: "CDAB", Scale: "1 s"}, "\x07\x03\x00\x09\x00\x02",
			[]byte{0x38, 0x80, 0, 1}, RunTime, 80000 * 1000, ""},
		{Register{Register: 9, Type: "float32", Scale: "1 h"}, "\x07\x03\x00\x09\x00\x02", []byte{0x3F, 0xC0, 0, 0},
			RunTime, hour * 3 / 2, ""},
		{Register{Register: 9, Type: "uint32", Scale: "1 h"}, "\x07\x03\x00\x09\x00\x02",
			[]byte{0xFF, 0xFF, 0xFF, 0xFF}, RunTime, 0, "out_of_range"},
		{Register{Register: 9, Type: "int16", Scale: "1 h"}, "\x07\x03\x00\x09\x00\x01", []byte{0xFF, 0xFF}, RunTime, 0,
			"out_of_range"},
		{Register{Register: 9, Type: "float32", Scale: "1 h"}, "\x07\x03\x00\x09\x00\x02", []byte{0x7F, 0xC0, 0, 0},
			RunTime, 0, "out_of_range"},
	} {
		tc.r.Address, tc.r.Channel = 7, "spindle"
		name := fmt.Sprintf("%+v % X", tc.r, tc.data)
		if ps := tc.r.Problems(RoleMachine); len(ps) != 0 {
			t.Errorf("%s: %v", name, ps)
			continue
		}
		f := newModbusFramer([]Register{tc.r}, RoleMachine)
		q := f.Next(0)
		if want := string(devicetest.Seal([]byte(tc.question))); q != want {
			t.Errorf("%s: asks % X, want % X", name, q, want)
		}
		f.Asked(q, 5, false)
		got := f.Feed(nil, devicetest.Seal(append([]byte{7, q[1], byte(len(tc.data))}, tc.data...)), 9)
		want := Sample{At: 9, Kind: tc.kind, Value: tc.want, Channel: "spindle", Asked: 5}
		switch {
		case tc.fault != "":
			if len(got) != 0 || f.Faults()[tc.fault] != 1 {
				t.Errorf("%s: %v, faults %v", name, got, f.Faults())
			}
		case len(got) != 1 || got[0] != want:
			t.Errorf("%s: %v, want %v", name, got, want)
		}
	}
}

func TestMistakesInSignalsAndCounters(t *testing.T) {
	for _, tc := range []struct {
		r         Register
		key, want string
	}{
		{Register{Address: 1, Function: 5, Type: "bit"}, "function", "1 (coils), 2"},
		{Register{Address: 1, Function: 1, Type: "bit", Bit: at(3)}, "bit", "one bit by itself"},
		{Register{Address: 1, Function: 3, Type: "bit"}, "bit", "missing"},
		{Register{Address: 1, Type: "bit", Bit: at(16)}, "bit", "15 the highest"},
		{Register{Address: 1, Type: "bit", Scale: "1 h"}, "scale", "on or off"},
		{Register{Address: 1, Type: "bit", Order: "BA", Bit: at(1)}, "order", "own order"},
		{Register{Address: 0, Type: "bit"}, "address", "1 to 247"},
		{Register{Address: 1, Register: -1, Type: "bit"}, "register", "0 to 65535"},
		{Register{Address: 1, Type: "uint16", Bit: at(1), Scale: "1 h"}, "bit", "only a signal"},
		{Register{Address: 1, Function: 2, Type: "uint16", Scale: "1 h"}, "function", "3 (holding"},
		{Register{Address: 1, Type: "uint16"}, "scale", "the time of one count"},
		{Register{Address: 1, Type: "uint16", Scale: "1 mm"}, "scale", "the time of one count"},
		{Register{Address: 1, Type: "uint16", Scale: "-1 h"}, "scale", "the time of one count"},
		{Register{Address: 1, Type: "uint16", Scale: "1 h / 0"}, "scale", "the time of one count"},
	} {
		wantProblem(t, fmt.Sprintf("%+v", tc.r), tc.r.Problems(RoleMachine), tc.key, tc.want)
	}
	wantProblem(t, "an indicator", Register{Address: 1, Type: "bit"}.Problems(RoleIndicator), "type", `"int16"`)
}

func FuzzRunTimeScale(f *testing.F) {
	for _, s := range []string{"1 h", "0.1 h", "1 min", "1 h / 100", "1 s", "", "h", "1e9 h", "99999999999 h / 3"} {
		f.Add(s, int64(5))
	}
	f.Fuzz(func(t *testing.T, text string, count int64) {
		ms, err := parseRunTime(text)
		if (err == nil) == (ms == 0) || math.IsNaN(ms) || ms < 0 {
			t.Fatalf("%q: %v, %v", text, ms, err)
		}
		if v, ok := (quantity{kind: RunTime, count: ms}).of(count); ok &&
			(v < 0 || float64(v) > MaxRunTimeHours*3.6e6) {
			t.Fatalf("%q of %d: %d ms", text, count, v)
		}
	})
}
