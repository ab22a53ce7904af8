package frame

import (
	"encoding/csv"
	"fmt"
	"os"
	"strconv"
	"testing"

	"tramd/device/devicetest"
)

// The published check values, and what an answer with them decodes to.
func TestModbusCheckValues(t *testing.T) {
	f, err := os.Open("../../testdata/published/modbus_crc.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	r := csv.NewReader(f)
	r.Comment = '#'
	rows, err := r.ReadAll()
	if err != nil || len(rows) < 10 {
		t.Fatalf("%d rows, %v", len(rows), err)
	}
	for _, row := range rows[1:] {
		want, err := strconv.ParseUint(row[1], 16, 16)
		if err != nil {
			t.Fatal(err)
		}
		if got := crcModbus(unhex(t, row[0])); got != uint16(want) {
			t.Errorf("%s: %04X, want %s", row[0], got, row[1])
		}
	}
}

func TestModbusRequest(t *testing.T) {
	// 11 03 00 6B 00 03 is asked in the published table; one register at 1 of address 1 also.
	v, ps := Register{Address: 1, Register: 0, Type: "int16", Scale: "0.001 mm"}.compile(RoleIndicator)
	if want := string(unhex(t, "01 03 00 00 00 01 84 0A")); len(ps) > 0 || v.request != want {
		t.Errorf("%v: asks % X, want % X", ps, v.request, want)
	}
	v, ps = Register{Address: 1, Function: 4, Register: 0, Type: "int32", Scale: "0.001 mm"}.compile(RoleIndicator)
	if want := string(unhex(t, "01 04 00 00 00 02 71 CB")); len(ps) > 0 || v.request != want {
		t.Errorf("%v: asks % X, want % X", ps, v.request, want)
	}
}

func TestModbusAnswer(t *testing.T) {
	for _, tc := range []struct {
		kind, order, data string
		nm                int64
		fault             string
	}{
		{kind: "int16", data: "CF C7", nm: -12_345_000},
		{kind: "int16", order: "BA", data: "C7 CF", nm: -12_345_000},
		{kind: "uint16", data: "FF FF", nm: 65_535_000},
		{kind: "int32", data: "FF FF CF C7", nm: -12_345_000},
		{kind: "int32", order: "CDAB", data: "CF C7 FF FF", nm: -12_345_000},
		{kind: "int32", order: "BADC", data: "FF FF C7 CF", nm: -12_345_000},
		{kind: "int32", order: "DCBA", data: "C7 CF FF FF", nm: -12_345_000},
		{kind: "uint32", data: "00 01 00 00", nm: 65_536_000},
		{kind: "uint32", data: "FF FF FF FF", fault: "out_of_range"},
		{kind: "float32", data: "3F C0 00 00", nm: 1500}, // 1.5 in IEEE 754
		{kind: "float32", order: "CDAB", data: "00 00 BF C0", nm: -1500},
		{kind: "float32", data: "7F C0 00 00", fault: "out_of_range"}, // not a number
		{kind: "float32", data: "7F 80 00 00", fault: "out_of_range"}, // infinity
	} {
		f := newModbusFramer([]Register{{Address: 7, Function: 4, Register: 3, Type: tc.kind, Order: tc.order,
			Scale: "0.001 mm", Channel: "x"}}, RoleIndicator)
		question := f.Next(0)
		f.Asked(question, 5, false)
		data := unhex(t, tc.data)
		answer := devicetest.Seal(append([]byte{7, 4, byte(len(data))}, data...))
		// An adapter may echo the question first.
		got := f.Feed(nil, append([]byte(question), answer...), 9)
		if tc.fault != "" {
			if len(got) != 0 || f.Faults()[tc.fault] != 1 || f.FaultTotal() != 1 || !f.Answered() {
				t.Errorf("%s %s %s: got %v, faults %v; want one %s", tc.kind, tc.order, tc.data, got,
					f.Faults(), tc.fault)
			}
			continue
		}
		want := Sample{At: 9, Kind: Length, Value: tc.nm, Channel: "x", Asked: 5}
		if len(got) != 1 || got[0] != want || !f.Answered() {
			t.Errorf("%s %s %s: got %v, want %v", tc.kind, tc.order, tc.data, got, want)
		}
	}
}

func TestModbusTakesOnlyTheAnswer(t *testing.T) {
	f := newModbusFramer([]Register{{Address: 7, Type: "int16", Scale: "0.001 mm"}}, RoleIndicator)
	good := devicetest.Seal([]byte{7, 3, 2, 0, 100})
	if got := f.Feed(nil, good, 1); len(got) != 0 {
		t.Errorf("read %v before anything was asked", got)
	}
	f.Asked(f.Next(0), 1, false)
	for _, other := range [][]byte{
		devicetest.Seal([]byte{8, 3, 2, 0, 100}), devicetest.Seal([]byte{7, 4, 2, 0, 100}),
		devicetest.Seal([]byte{7, 3, 4, 0, 0, 0, 100}),
		append(devicetest.Seal([]byte{7, 3, 2, 0, 100})[:6], 0), good[:6],
	} {
		if got := f.Feed(nil, other, 2); len(got) != 0 {
			t.Errorf("% X was taken for the answer: %v", other, got)
		}
	}
	f.Silent()
	if got := f.Feed(nil, good, 3); len(got) != 0 || f.Faults()["bad_checksum"] != 1 {
		t.Errorf("an answer that came too late was taken: %v, faults %v", got, f.Faults())
	}
	f.Asked(f.Next(0), 4, false)
	f.Silent()
	f.Asked(f.Next(0), 5, false)
	f.Feed(nil, devicetest.Seal([]byte{7, 0x83, 2}), 6)
	if f.Faults()["no_answer"] != 1 || f.Faults()["refused"] != 1 || f.refusal != 2 || !f.Answered() {
		t.Errorf("faults %v, refusal %d", f.Faults(), f.refusal)
	}
}

func TestModbusMistakes(t *testing.T) {
	for _, tc := range []struct {
		r         Register
		key, want string
	}{
		{Register{Type: "int16", Scale: "1 um"}, "address", "1 to 247"},
		{Register{Address: 1, Function: 6, Type: "int16", Scale: "1 um"}, "function", "3 (holding"},
		{Register{Address: 1, Register: 65536, Type: "int16", Scale: "1 um"}, "register", "0 to 65535"},
		{Register{Address: 1, Type: "int64", Scale: "1 um"}, "type", `"int16"`},
		{Register{Address: 1, Type: "int16", Order: "ABCD", Scale: "1 um"}, "order", `"AB" or "BA"`},
		{Register{Address: 1, Type: "int32", Order: "AB", Scale: "1 um"}, "order", `"ABCD"`},
		{Register{Address: 1, Type: "int32"}, "scale", "missing"},
	} {
		wantProblem(t, fmt.Sprintf("%+v", tc.r), tc.r.Problems(RoleIndicator), tc.key, tc.want)
	}
}

func FuzzModbusFramer(f *testing.F) {
	f.Add(devicetest.Seal([]byte{1, 3, 2, 0, 100}), uint8(3))
	f.Add(devicetest.Seal([]byte{1, 0x83, 2}), uint8(1))
	f.Add(devicetest.Seal([]byte{1, 2, 1, 1}), uint8(2))
	f.Add(append([]byte{1, 3, 4}, devicetest.Seal([]byte{1, 3, 4, 0x3F, 0xC0, 0, 0})...), uint8(5))
	f.Fuzz(func(t *testing.T, p []byte, cut uint8) {
		for _, kind := range []string{"int16", "uint32", "float32"} {
			checkCuts(t, func() Framer {
				f := newModbusFramer([]Register{{Address: 1, Type: kind, Scale: "0.001 mm"}}, RoleIndicator)
				f.Asked(f.Next(0), 0, false)
				return f
			}, p, int(cut))
		}
		checkCuts(t, func() Framer {
			f := newModbusFramer([]Register{{Address: 1, Type: "bit"}, {Address: 1, Type: "uint32", Scale: "1 s"}},
				RoleMachine)
			f.Asked(f.Next(0), 0, false)
			return f
		}, p, int(cut))
	})
}

func BenchmarkModbusFramer(b *testing.B) {
	f := newModbusFramer([]Register{{Address: 1, Type: "int32", Scale: "0.001 mm"}}, RoleIndicator)
	in := devicetest.Seal([]byte{1, 3, 4, 0xFF, 0xFF, 0xCF, 0xC7})
	dst := make([]Sample, 0, 1)
	b.ReportAllocs()
	before := devicetest.CPU(b)
	for b.Loop() {
		f.Asked(f.values[0].request, 0, false)
		if len(f.Feed(dst, in, 1)) != 1 {
			b.Fatal("no reading")
		}
	}
	reportCPU(b, before, 1)
}
