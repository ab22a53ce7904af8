package frame

import (
	"bytes"
	"encoding/hex"
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"tramd/device/devicetest"
)

func unhex(t testing.TB, s string) []byte {
	t.Helper()
	b, err := hex.DecodeString(strings.Join(strings.Fields(s), ""))
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// The check values of the cyclic codes over "123456789" are those of the public catalogue of parametrised CRC
// algorithms, given from memory; that of Modbus also stands in testdata/published/modbus_crc.csv. The sums were added
// by hand: 0x31 + ... + 0x39 = 0x1DD, and 1^2^...^9 = 1 with 0x30 nine times.
func TestCheckValues(t *testing.T) {
	for name, want := range map[string]uint16{
		checkSum: 0xDD, checkNegated: 0x23, checkXor: 0x31,
		checkModbus: 0x4B37, checkIBM: 0x29B1, checkXmodem: 0x31C3, checkKermit: 0x2189,
	} {
		c, ok := newChecker(name)
		if !ok {
			t.Fatalf("%s is not known", name)
		}
		if got := c.of([]byte("123456789")); got != want {
			t.Errorf("%s: %04X, want %04X", name, got, want)
		}
	}
}

func TestScale(t *testing.T) {
	for _, tc := range []struct {
		text  string
		count int64
		nm    int64
	}{
		{"0.001 mm", -12345, -12_345_000},
		{"0.00005in", 3, 3810},
		{"1 in / 65536", 65536, 25_400_000},
		{"1 in / 65536", 1, 388}, // 387.57
		{"-0.5 um", 3, -1500},
		{"0.0000001 mm", 5, 1}, // half a nanometre: away from zero
		{"0.0000001 mm", 4, 0},
		{"10 mm/4294967296", -1 << 31, -5_000_000},
	} {
		s, err := parseScale(tc.text)
		if err != nil {
			t.Errorf("%q: %v", tc.text, err)
			continue
		}
		if got, ok := s.length(tc.count); !ok || got != tc.nm {
			t.Errorf("%d of %q: %d nm, want %d", tc.count, tc.text, got, tc.nm)
		}
	}
	for _, text := range []string{"", "0.001", "mm", "0 mm", "1 mm / 0", "1 mm / x", "20000 mm", "1 furlong", "1e3 mm",
		"0.123456789012345678 in / 1099511627776"} {
		if s, err := parseScale(text); err == nil {
			t.Errorf("%q was taken as %+v", text, s)
		}
	}
	if _, ok := (scale{num: 1_000_000_000, den: 1}).length(-1 << 63); ok {
		t.Error("a length beyond all limits was given")
	}
}

func TestBinaryFrame(t *testing.T) {
	for _, tc := range []struct {
		b       Binary
		hex     string
		nm      int64
		channel string
		fault   string
	}{
		{b: Binary{Layout: "AA 55 value check", Bits: 24, Order: "high_first", Check: "xor"}, hex: "AA 55 FF CF C7 08",
			nm: -12_345_000},
		{b: Binary{Layout: "AA 55 value check", Bits: 24, Order: "high_first", Check: "xor"}, hex: "AA 55 FF CF C7 09",
			fault: "bad_checksum"},
		{b: Binary{Layout: "AA 55 value check", Bits: 24, Order: "high_first", Check: "xor", CheckFrom: 2},
			hex: "AA 55 FF CF C7 F7", nm: -12_345_000},
		{b: Binary{Layout: "02 ch value check 03", Bits: 16, Order: "low_first", Sign: "none", Check: "sum"},
			hex: "02 07 39 30 72 03", nm: 12_345_000, channel: "7"},
		{b: Binary{Layout: "02 value check", Bits: 16, Order: "low_first", Sign: "sign_bit", Check: "negated_sum"},
			hex: "02 39 B0 15", nm: -12_345_000},
		// the four bits above are not looked at
		{b: Binary{Layout: "02 -- value", Bits: 20, Order: "high_first", Sign: "offset"}, hex: "02 EE F7 CF C7",
			nm: -12_345_000},
		{b: Binary{Layout: "02 value", Bits: 8, Sign: "twos"}, hex: "02 80", nm: -128_000},
		{b: Binary{Layout: "02 value check", Bits: 32, Order: "high_first", Check: "crc16_modbus",
			CheckOrder: "low_first"}, hex: "02 00 00 00 00", fault: ""},
		{b: Binary{Layout: "02 value", Bits: 32, Order: "low_first", Scale: "10 mm"}, hex: "02 FF FF FF 7F",
			fault: "out_of_range"},
	} {
		b := tc.b
		if b.Scale == "" {
			b.Scale = "0.001 mm"
		}
		if ps := b.Problems(RoleIndicator); len(ps) > 0 {
			t.Errorf("%+v is refused: %v", b, ps)
			continue
		}
		in := unhex(t, tc.hex)
		if b.Check == checkModbus { // its check value is that of the published table's code
			crc, _ := newChecker(checkModbus)
			v := crc.of(in)
			in = append(in, byte(v), byte(v>>8))
		}
		f := b.framer(RoleIndicator, true)
		got := f.Feed(nil, in, 7)
		if tc.fault != "" {
			if len(got) != 0 || f.Faults()[tc.fault] != 1 || f.FaultTotal() != 1 {
				t.Errorf("%s: %s: got %v, faults %v; want one %s", b.Layout, tc.hex, got, f.Faults(), tc.fault)
			}
			continue
		}
		want := Sample{At: 7, Kind: Length, Value: tc.nm, Channel: tc.channel}
		if len(got) != 1 || got[0] != want || f.FaultTotal() != 0 {
			t.Errorf("%s: %s: got %v, faults %v; want %v", b.Layout, tc.hex, got, f.Faults(), want)
		}
	}
}

func TestBinaryMistakes(t *testing.T) {
	good := Binary{Layout: "AA value", Bits: 16, Order: "low_first", Scale: "0.001 mm"}
	for _, tc := range []struct {
		change    func(*Binary)
		key, want string
	}{
		{func(b *Binary) { b.Bits = 7 }, "bits", "8 to 32"},
		{func(b *Binary) { b.Order = "" }, "order", "which byte of the count comes first"},
		{func(b *Binary) { b.Sign = "bcd" }, "sign", `write "twos"`},
		{func(b *Binary) { b.Scale = "" }, "scale", "missing"},
		{func(b *Binary) { b.Scale = "0.001" }, "scale", "is not a scale"},
		{func(b *Binary) { b.Check = "md5" }, "check", "write one of none, sum"},
		{func(b *Binary) { b.Check = "sum" }, "layout", "has no place for the check value"},
		{func(b *Binary) { b.Layout = "AA value check" }, "layout", "write which with the key check"},
		{func(b *Binary) { b.Layout, b.Check, b.CheckFrom = "AA value check", "sum", 3 }, "check_from", "0 to 2"},
		{func(b *Binary) { b.Layout = "value AA" }, "layout", "begins with no fixed byte"},
		{func(b *Binary) { b.Layout = "" }, "layout", `has no "value"`},
		{func(b *Binary) { b.Layout = "AA value value" }, "layout", "is in it twice"},
		{func(b *Binary) { b.Layout = "AA 5 value" }, "layout", `"5" is none of two hexadecimal digits`},
		{func(b *Binary) { b.Layout = "AA value" + strings.Repeat(" --", 70) }, "layout", "more than 64 bytes"},
		{func(b *Binary) { b.GapMS = 2 }, "gap_ms", "5 to 1000"},
		{func(b *Binary) { b.CheckOrder = "x" }, "check_order", "low_first"},
	} {
		b := good
		tc.change(&b)
		wantProblem(t, fmt.Sprintf("%+v", b), b.Problems(RoleIndicator), tc.key, tc.want)
	}
	if ps := good.Problems(RoleIndicator); len(ps) > 0 {
		t.Error(ps)
	}
	wantProblem(t, "an angle source", good.Problems(RoleAngle), "scale", "remove it")
}

// wire makes frames by its own arithmetic.
func wire(count int64, check string) []byte {
	b := []byte{0xAA, 0x55, byte(count >> 16), byte(count >> 8), byte(count)}
	switch check {
	case checkXor:
		b = append(b, b[0]^b[1]^b[2]^b[3]^b[4])
	case checkModbus:
		b = devicetest.Seal(b)
	}
	return b
}

// TestNoDamageMakesAWrongReading damages streams at random: bytes lost, doubled, changed and thrown in, frames cut. The
// values sent form a sequence whose every member is known; whatever is read must be one of them, in order. With a check
// value of 16 bits nothing wrong may pass. With eight bits, or none, a changed byte can: there the damage is to
// the length only, and nothing wrong may pass either. Most good frames must come through.
func TestNoDamageMakesAWrongReading(t *testing.T) {
	for _, tc := range []struct {
		check   string
		changes bool
	}{{checkModbus, true}, {checkXor, false}, {checkNone, false}} {
		t.Run(tc.check, func(t *testing.T) {
			layout := "AA 55 value check"
			if tc.check == checkNone {
				layout = "AA 55 value"
			}
			b := Binary{Layout: layout, Bits: 24, Order: "high_first", Scale: "0.001 mm", Check: tc.check}
			read, clean := 0, 0
			for seed := range uint64(200) {
				rnd := rand.New(rand.NewPCG(seed, 9))
				sent := map[int64]int{}
				var stream []byte
				hurt := false
				value := rnd.Int64N(1<<20) - 1<<19
				for i := range 300 {
					value += 1 + rnd.Int64N(200) // all different, so that each is known by its value
					sent[value*1000] = i
					frame := wire(value, tc.check)
					// Without a check value two neighbours damaged so that they fit together again are good frames.
					if rnd.IntN(20) > 0 || tc.check == checkNone && hurt {
						hurt = false
						clean++
						stream = append(stream, frame...)
						continue
					}
					hurt = true
					at := rnd.IntN(len(frame))
					switch kind := rnd.IntN(5); {
					case kind == 0:
						frame = append(frame[:at:at], frame[at+1:]...)
					case kind == 1:
						frame = append(frame[:at+1:at+1], frame[at:]...)
					case kind == 2:
						frame = frame[:at]
					case kind == 3 && tc.changes:
						frame[at] ^= 1 << rnd.IntN(8)
					default:
						junk := make([]byte, 1+rnd.IntN(9))
						for i := range junk {
							junk[i] = byte(rnd.Uint32())
						}
						frame = append(junk, frame...)
					}
					stream = append(stream, frame...)
				}
				f := b.framer(RoleIndicator, false)
				f.Reset()
				var got []Sample
				for rest := stream; len(rest) > 0; {
					n := min(1+rnd.IntN(40), len(rest))
					got = f.Feed(got, rest[:n], 1)
					rest = rest[n:]
				}
				last := -1
				for _, s := range got {
					i, ok := sent[s.Value]
					if !ok || i <= last && tc.check != checkNone {
						t.Fatalf("seed %d: read %d nm, which was not sent, or not then", seed, s.Value)
					}
					last = i
				}
				read += len(got)
			}
			if share := float64(read) / float64(clean); share < 0.7 {
				t.Errorf("only %.0f %% of the good frames were read", 100*share)
			} else {
				t.Logf("%.1f %% of the good frames were read", 100*share)
			}
		})
	}
}

// TestDataThatLooksLikeSync: a value at rest that holds the sync byte fits at two places. Until it moves, neither is
// taken.
func TestDataThatLooksLikeSync(t *testing.T) {
	b := Binary{Layout: "AA value", Bits: 24, Order: "high_first", Scale: "0.001 mm"}
	f := b.framer(RoleIndicator, false)
	f.Reset()
	frame := []byte{0xAA, 0x01, 0xAA, 0x02}
	if got := f.Feed(nil, bytes.Repeat(frame, 100), 1); len(got) != 0 {
		t.Fatalf("read %v where two readings were possible", got[0])
	}
	var got []Sample
	for i := range 20 {
		got = f.Feed(got, []byte{0xAA, 0x01, 0xA0, byte(i)}, 1)
	}
	if len(got) < 10 {
		t.Fatalf("%d readings after it moved", len(got))
	}
	for _, s := range got {
		if s.Value>>8 == 0 || s.Value/1000>>8 != 0x01A0 {
			t.Errorf("read %d nm", s.Value)
		}
	}
	// A pause tells the two apart at once.
	f.Reset()
	got = nil
	for i := range 8 {
		got = f.Feed(got, frame, Stamp(i+1)*Stamp(100*time.Millisecond))
	}
	if len(got) < 3 || got[0].Value != 0x01AA02*1000 {
		t.Errorf("with pauses: %v", got)
	}
}

// TestNoiseIsNoFrame: a megabyte of noise for each layout gives next to nothing, and nothing with a check value of 16
// bits.
func TestNoiseIsNoFrame(t *testing.T) {
	noise := make([]byte, 1<<20)
	rnd := rand.New(rand.NewPCG(5, 5))
	for i := range noise {
		noise[i] = byte(rnd.Uint32())
	}
	for _, b := range fuzzBinaries() {
		f := b.framer(RoleIndicator, false)
		f.Reset()
		if got := f.Feed(nil, noise, 1); len(got) > 0 {
			t.Errorf("%+v: %d readings of noise", b, len(got))
		}
		if b.GapMS == 0 && f.FaultTotal() == 0 {
			t.Errorf("%+v: noise was not counted", b)
		}
	}
}

func TestBurstsAreWholeOrNothing(t *testing.T) {
	ms := Stamp(time.Millisecond)
	b := Binary{Layout: "value", Bits: 16, Order: "low_first", Scale: "0.001 mm", GapMS: 10}
	f := b.framer(RoleIndicator, false)
	f.Reset()
	var got []Sample
	feed := func(at Stamp, p ...byte) { got = f.Feed(got, p, at*ms) }
	feed(100, 0x07)       // half a frame: the port was joined here
	feed(200, 0x01)       // a frame in two reads
	feed(203, 0x00)       //
	feed(300, 0x02)       // half a frame
	feed(400, 3, 0, 4, 0) // two in one read: the machine was busy
	feed(500, 5, 0, 6)    // one and a half
	if !f.(Holder).Holding() {
		t.Error("a burst is held until the silence after it is over")
	}
	got = f.(Holder).Silence(got, 510*ms)
	want := []Sample{{At: 203 * ms, Kind: Length, Value: 1000}, {At: 400 * ms, Kind: Length, Value: 3000},
		{At: 400 * ms, Kind: Length, Value: 4000}}
	if fmt.Sprint(got) != fmt.Sprint(want) || f.Faults()["short_frame"] != 2 || f.FaultTotal() != 2 {
		t.Errorf("got %v, faults %v; want %v and two short frames", got, f.Faults(), want)
	}
	feed(600, bytes.Repeat([]byte{1}, 1000)...)
	feed(700, 9, 0)
	if n := len(f.(Holder).Silence(nil, 710*ms)); n != 1 || f.Faults()["too_long"] != 1 {
		t.Errorf("after a burst too long: %d readings, faults %v", n, f.Faults())
	}
}

func fuzzBinaries() []Binary {
	return []Binary{
		{Layout: "AA 55 value check", Bits: 24, Order: "high_first", Scale: "0.001 mm", Check: "xor"},
		{Layout: "02 ch value check 03", Bits: 16, Order: "low_first", Scale: "0.00005 in", Check: "crc16_kermit"},
		{Layout: "A5 value", Bits: 32, Order: "low_first", Sign: "offset", Scale: "1 mm / 65536"},
		{Layout: "value", Bits: 16, Order: "low_first", Scale: "0.001 mm", GapMS: 10},
	}
}

func FuzzBinaryFramer(f *testing.F) {
	f.Add(unhex(f, "AA 55 FF CF C7 08 AA 55 FF CF C8 07"), uint8(3))
	f.Add(unhex(f, "A5 00 00 00 80 A5 01 00 00 80 A5 02 00 00 80 A5 03 00 00 80 A5 04 00 00 80"), uint8(7))
	f.Fuzz(func(t *testing.T, p []byte, cut uint8) {
		for _, b := range fuzzBinaries() {
			checkCuts(t, func() Framer { return b.framer(RoleIndicator, false) }, p, int(cut))
			checkCuts(t, func() Framer { f := b.framer(RoleIndicator, false); f.Reset(); return f }, p, int(cut))
		}
	})
}

// FuzzBinaryLayout reads any layout: it is refused with a problem, or makes a framer that takes anything.
func FuzzBinaryLayout(f *testing.F) {
	f.Add("AA 55 ch value check", 24, "xor", 1, []byte("\xaa\x55"))
	f.Add("value", 9, "crc16_modbus", -1, []byte{})
	f.Fuzz(func(t *testing.T, layout string, bits int, check string, from int, p []byte) {
		b := Binary{Layout: layout, Bits: bits, Order: "low_first", Check: check, CheckFrom: from, Scale: "0.001 mm"}
		if len(b.Problems(RoleIndicator)) == 0 {
			f := b.framer(RoleIndicator, false)
			f.Feed(nil, p, 0)
			f.Feed(nil, p, Stamp(time.Second))
		}
	})
}

func BenchmarkBinaryFramer(b *testing.B) {
	two := append(wire(-12345, checkXor), wire(12345, checkXor)...)
	b.Run("xor", func(b *testing.B) {
		// A frame that is not sure is held until the next one is good, so the first feed gives one less.
		f := fuzzBinaries()[0].framer(RoleIndicator, false)
		f.Feed(nil, two, 1)
		benchmarkFramer(b, f, string(two), 2)
	})
	two = append(wire(-12345, checkModbus), wire(12345, checkModbus)...)
	b.Run("crc16", func(b *testing.B) {
		x := Binary{Layout: "AA 55 value check", Bits: 24, Order: "high_first", Scale: "0.001 mm",
			Check: "crc16_modbus"}
		benchmarkFramer(b, x.framer(RoleIndicator, false), string(two), 2)
	})
	b.Run("bare", func(b *testing.B) {
		f := fuzzBinaries()[2].framer(RoleIndicator, false)
		f.Feed(nil, []byte{0xA5, 0, 0, 0, 0x80}, 1)
		benchmarkFramer(b, f, "\xa5\x01\x00\x00\x80\xa5\x02\x00\x00\x80", 2)
	})
}
