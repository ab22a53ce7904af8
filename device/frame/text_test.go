package frame

import (
	"fmt"
	"math/big"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func TestTextLine(t *testing.T) {
	for _, tc := range []struct {
		line    string
		nm      int64
		channel string
		fault   string
	}{
		{line: "0.123", nm: 123_000},
		{line: "+0.123", nm: 123_000},
		{line: "-0.123 mm", nm: -123_000},
		{line: "-0,0125mm", nm: -12_500},
		{line: "- 0.012", nm: -12_000},
		{line: "  +000.123\t", nm: 123_000},
		{line: "-0.000", nm: 0},
		{line: ".5", nm: 500_000},
		{line: "12", nm: 12_000_000},
		{line: "1,234", nm: 1_234_000},
		{line: "0.00005 in", nm: 1270},
		{line: "-0.00005IN", nm: -1270},
		{line: "0.0001 in", nm: 2540},
		{line: "12.5 um", nm: 12_500},
		{line: "12.5 \u00b5m", nm: 12_500},
		{line: "12.5 \u03bcm", nm: 12_500},
		{line: "12.5 \xb5m", nm: 12_500},
		{line: "0.0000005", nm: 1}, // half a nanometre: away from zero
		{line: "-0.0000005", nm: -1},
		{line: "0.0000004", nm: 0},
		{line: "10000.000", nm: 10_000_000_000},
		{line: "arm 0.123", nm: 123_000, channel: "arm"},
		{line: "arm: -0.123 mm", nm: -123_000, channel: "arm"},
		{line: "arm=0.123", nm: 123_000, channel: "arm"},
		{line: "in 0.5 in", nm: 12_700_000, channel: "in"},
		{line: "A+0.123", nm: 123_000, channel: "A"},
		{line: "A1-0.123", nm: -123_000, channel: "A1"},
		{line: "1: 0.123", nm: 123_000, channel: "1"},
		{line: "2:-0.123", nm: -123_000, channel: "2"},
		{line: "12=0.123", nm: 123_000, channel: "12"},

		{line: "12.3.4", fault: "bad_number"},
		{line: "1,234.5", fault: "bad_number"},
		{line: "1.234,5", fault: "bad_number"},
		{line: "0x1f", fault: "bad_number"},
		{line: "--1", fault: "bad_number"},
		{line: "+-1", fault: "bad_number"},
		{line: "- -1", fault: "bad_number"},
		{line: "5.", fault: "bad_number"},
		{line: "5. mm", fault: "bad_number"},
		{line: "-", fault: "bad_number"},
		{line: ".", fault: "bad_number"},
		{line: "1e-3", fault: "bad_number"},
		{line: "1 2", fault: "bad_number"},
		{line: "1-2", fault: "bad_number"},
		{line: "0.1 0.2", fault: "bad_number"},
		{line: "0.1 mm 0.2 mm", fault: "bad_number"},
		{line: "12:30.5", fault: "bad_number"},
		{line: "2026-11-25", fault: "bad_number"},
		{line: "0.1234567890123456789", fault: "bad_number"},
		{line: "0.123 kg", fault: "bad_unit"},
		{line: "0.123 Mm", fault: "bad_unit"},
		{line: "0.123 m", fault: "bad_unit"},
		{line: "0.123 deg", fault: "bad_unit"},
		{line: "0.123 mm mm", fault: "bad_unit"},
		{line: "10000.001", fault: "out_of_range"},
		{line: "99999999999999999999", fault: "out_of_range"},
		{line: "400 in", fault: "out_of_range"},
		{line: "hello", fault: "garbage"},
		{line: "hello world", fault: "garbage"},
		{line: "arm:", fault: "garbage"},
		{line: "arm", fault: "garbage"},
		{line: "#0.123", fault: "garbage"},
		{line: "Nov-25", fault: "garbage"},
		{line: "COM3", fault: "garbage"},
		{line: "ind-1 +0.123", fault: "garbage"},
		{line: "NaN", fault: "garbage"},
		{line: "err 3", fault: "status"},
		{line: "ERR-12.0", fault: "status"},
		{line: "batt: 2.9", fault: "status"},
		{line: "0.1\x0023", fault: "not_text"},
		{line: "\xff\xfe0.1", fault: "not_text"},
		{line: "0.123 \u20ac", fault: "not_text"},
		{line: "\u22120.123", fault: "not_text"},
		{line: strings.Repeat("1", 257), fault: "too_long"},
	} {
		for _, end := range []string{"\n", "\r", "\r\n", "\n\r", "\r\n\r\n"} {
			f := NewTextFramer()
			got := f.Feed(nil, []byte(tc.line+end), 7)
			if tc.fault != "" {
				if len(got) != 0 || f.Faults()[tc.fault] != 1 || f.FaultTotal() != 1 {
					t.Errorf("%q: got %v, faults %v; want one %s", tc.line+end, got, f.Faults(), tc.fault)
				}
				continue
			}
			want := Sample{At: 7, Kind: Length, Value: tc.nm, Channel: tc.channel}
			if len(got) != 1 || got[0] != want || f.FaultTotal() != 0 {
				t.Errorf("%q: got %v, faults %v; want %v", tc.line+end, got, f.Faults(), want)
			}
		}
	}
}

func TestEncoderLine(t *testing.T) {
	for _, tc := range []struct {
		line    string
		kind    Kind
		value   int64
		channel string
		fault   string
	}{
		{line: "1024", kind: Count, value: 1024},
		{line: "-1024", kind: Count, value: -1024},
		{line: "+000012", kind: Count, value: 12},
		{line: "spindle 7", kind: Count, value: 7, channel: "spindle"},
		{line: "359.95 deg", kind: Angle, value: 359_950_000},
		{line: "-0,5deg", kind: Angle, value: -500_000},
		{line: "90 deg", kind: Angle, value: 90_000_000},
		{line: "4096000000", kind: Count, value: 4_096_000_000},
		{line: "4096000001", fault: "out_of_range"},
		{line: "12.5", fault: "bad_unit"},
		{line: "12 mm", fault: "bad_unit"},
		{line: "12.5.1 deg", fault: "bad_number"},
		{line: "--3", fault: "bad_number"},
		{line: "0x10", fault: "bad_number"},
		{line: "400000000 deg", fault: "out_of_range"},
	} {
		f := NewEncoderFramer(4096)
		got := f.Feed(nil, []byte(tc.line+"\n"), 7)
		if tc.fault != "" {
			if len(got) != 0 || f.Faults()[tc.fault] != 1 || f.FaultTotal() != 1 {
				t.Errorf("%q: got %v, faults %v; want one %s", tc.line, got, f.Faults(), tc.fault)
			}
			continue
		}
		want := Sample{At: 7, Kind: tc.kind, Value: tc.value, Channel: tc.channel}
		if len(got) != 1 || got[0] != want {
			t.Errorf("%q: got %v, faults %v; want %v", tc.line, got, f.Faults(), want)
		}
	}
	f := NewEncoderFramer(0)
	if got := f.Feed(nil, []byte("12\n12 deg\n"), 0); len(got) != 1 || got[0].Kind != Angle ||
		f.Faults()["bad_unit"] != 1 {
		t.Errorf("without counts a turn: got %v, faults %v; want the angle alone", got, f.Faults())
	}
}

// The independent oracle is exact rational arithmetic.
func TestTextValueIsExact(t *testing.T) {
	sizes := map[string]int64{"": 1_000_000, "mm": 1_000_000, "um": 1000, "in": 25_400_000}
	rapid.Check(t, func(t *rapid.T) {
		num := rapid.StringMatching(`[+-]?[0-9]{1,4}(\.[0-9]{1,12})?`).Draw(t, "number")
		unit := rapid.SampledFrom([]string{"", "mm", "um", "in"}).Draw(t, "unit")
		exact, ok := new(big.Rat).SetString(num)
		if !ok {
			t.Fatalf("%q is not a rational", num)
		}
		exact.Mul(exact, big.NewRat(sizes[unit], 1))
		f := NewTextFramer()
		got := f.Feed(nil, []byte(num+" "+unit+"\n"), 0)
		abs := new(big.Rat).Abs(exact)
		limit := big.NewRat(10_000_000_000, 1)
		if len(got) == 0 {
			if abs.Cmp(limit) <= 0 {
				t.Fatalf("%q %q refused: %v", num, unit, f.Faults())
			}
			return
		}
		off := new(big.Rat).Sub(exact, big.NewRat(got[0].Value, 1))
		if off.Abs(off).Cmp(big.NewRat(1, 2)) > 0 {
			t.Fatalf("%q %q: got %d nm, off by %s", num, unit, got[0].Value, off.FloatString(9))
		}
	})
}

// A stream of lines, good and bad, with every kind of line end.
func drawStream(t *rapid.T) []byte {
	line := rapid.OneOf(
		rapid.StringMatching(`([a-z]{1,3}:? )?[+-]?[0-9]{1,3}[.,][0-9]{1,5} ?(mm|in|um|deg)?`),
		rapid.StringMatching(`-?[0-9]{1,6}`),
		rapid.StringN(0, 20, 40),
		rapid.Just(strings.Repeat("7", 255)), rapid.Just(strings.Repeat("7", 256)),
		rapid.Just(strings.Repeat("7", 600)),
		rapid.Just("12.3.4"), rapid.Just(""),
	)
	end := rapid.SampledFrom([]string{"\n", "\r", "\r\n", "\n\n"})
	var b []byte
	for range rapid.IntRange(0, 12).Draw(t, "lines") {
		b = append(b, line.Draw(t, "line")...)
		b = append(b, end.Draw(t, "end")...)
	}
	return append(b, line.Draw(t, "rest")...)
}

func TestAnyCutOfTheStreamGivesTheSame(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		stream := drawStream(t)
		reset := rapid.Bool().Draw(t, "reset")
		pair := func() [2]Framer { return [2]Framer{NewTextFramer(), NewEncoderFramer(4096)} }
		whole, cut := pair(), pair()
		for k := range whole {
			if reset {
				whole[k].Reset()
				cut[k].Reset()
			}
			want := whole[k].Feed(nil, stream, 1)
			var got []Sample
			for rest := stream; len(rest) > 0; {
				n := rapid.IntRange(1, len(rest)).Draw(t, "n")
				chunk := append([]byte(nil), rest[:n]...)
				got = cut[k].Feed(got, chunk, 1)
				clear(chunk) // the framer may keep no reference to it
				rest = rest[n:]
			}
			if fmt.Sprint(got, cut[k].Faults()) != fmt.Sprint(want, whole[k].Faults()) {
				t.Fatalf("%q:\n whole %v %v\n cut   %v %v", stream, want, whole[k].Faults(), got, cut[k].Faults())
			}
		}
	})
}

func TestHalfALineIsDropped(t *testing.T) {
	f := NewTextFramer()
	f.Reset()
	if got := f.Feed(nil, []byte("2.345\n12.345\n"), 0); len(got) != 1 || got[0].Value != 12_345_000 {
		t.Errorf("after Reset: got %v, want only the second line", got)
	}
	f = NewTextFramer()
	got := f.Feed(nil, []byte(strings.Repeat("x", 300)), 0)
	got = f.Feed(got, []byte(" 2.345\n12.345\n"), 0)
	if len(got) != 1 || got[0].Value != 12_345_000 || f.Faults()["too_long"] != 1 {
		t.Errorf("after a line too long: got %v, faults %v; want only the line after it", got, f.Faults())
	}
	if f.Feed(nil, []byte("1.2"), 0); f.n != 3 {
		t.Fatalf("the framer holds %d bytes, want 3", f.n)
	}
	f.Reset()
	if got := f.Feed(nil, []byte("34\n"), 0); len(got) != 0 {
		t.Errorf("halves of two streams became a reading: %v", got)
	}
}

func TestNamesAreBounded(t *testing.T) {
	f := NewTextFramer()
	var got []Sample
	for i := range 1000 {
		got = f.Feed(got, fmt.Appendf(nil, "n%d 0.5\n", i), 0)
	}
	for i, s := range got {
		if s.Channel != fmt.Sprintf("n%d", i) {
			t.Fatalf("reading %d has channel %q", i, s.Channel)
		}
	}
	if len(got) != 1000 || len(f.names.known) > maxNames {
		t.Errorf("%d readings, %d names kept; want 1000 and at most %d", len(got), len(f.names.known), maxNames)
	}
}

func TestFeedDoesNotAllocate(t *testing.T) {
	f := NewTextFramer()
	dst := make([]Sample, 0, 8)
	in := []byte("arm -0.0125 mm\r\nlow2: 0,00005 in\nbad line\n1.5")
	f.Feed(dst, in, 0)
	if n := testing.AllocsPerRun(1000, func() { f.Feed(dst, in, 0) }); n != 0 {
		t.Errorf("%v allocations a feed, want 0", n)
	}
}

func FuzzTextFramer(f *testing.F) {
	for _, s := range []string{"arm: -0,0125 mm\r\n", "12.3.4\n1,234.5\n0x1f\n--1\n", "1: 0.5 \xb5m\r",
		"\x00\xff\n9\n"} {
		f.Add([]byte(s), uint8(3))
	}
	f.Fuzz(func(t *testing.T, p []byte, cut uint8) {
		checkFramer(t, NewTextFramer(), NewTextFramer(), p, int(cut), 10_000_000_000)
	})
}

func FuzzEncoderFramer(f *testing.F) {
	for _, s := range []string{"1024\n-7\r\n", "359.95 deg\n", "a 12\n12.5\n", "99999999999999999999999\n"} {
		f.Add([]byte(s), uint8(3))
	}
	f.Fuzz(func(t *testing.T, p []byte, cut uint8) {
		checkFramer(t, NewEncoderFramer(4096), NewEncoderFramer(4096), p, int(cut), 360_000_000_000_000)
	})
}

// checkFramer checks what must hold for any bytes: no panic, values within limits, each line that is not blank either a
// sample or a fault, and no difference between one feed and two.
func checkFramer(t *testing.T, a, b Framer, p []byte, cut int, limit int64) {
	one := a.Feed(nil, p, 1)
	cut = min(cut, len(p))
	two := b.Feed(nil, p[:cut], 1)
	two = b.Feed(two, p[cut:], 1)
	if fmt.Sprint(one, a.Faults()) != fmt.Sprint(two, b.Faults()) {
		t.Fatalf("cut at %d: %v %v, else %v %v", cut, two, b.Faults(), one, a.Faults())
	}
	full := 0
	text := strings.ReplaceAll(string(p), "\r", "\n")
	parts := strings.Split(text, "\n")
	for i, l := range parts {
		if i == len(parts)-1 {
			if len(l) > maxLine {
				full++
			}
			break
		}
		if len(l) > maxLine || strings.Trim(l, " \t") != "" {
			full++
		}
	}
	if got := len(one) + int(a.FaultTotal()); got != full {
		t.Fatalf("%q: %d samples and %d faults from %d lines", p, len(one), a.FaultTotal(), full)
	}
	for _, s := range one {
		if s.Value > limit || s.Value < -limit {
			t.Fatalf("value %d is beyond the limit", s.Value)
		}
	}
}
