package frame

import (
	"fmt"
	"math/rand/v2"
	"testing"
)

var inUnits = map[string]string{"0": "mm", "1": "in"}

func digitLayouts() (packed, single, low, text Digits) {
	packed = Digits{Map: "FF s dddddd p u .", Plus: []int{0}, Minus: []int{8}, Units: inUnits}
	single = Digits{Map: "FFFF s dddddd p u", Packing: "one", Bits: "low_first", Plus: []int{0}, Minus: []int{8},
		Units: inUnits}
	low = Digits{Map: "A5 c dddd s", Packing: "two_low_first", Order: "low_first", Decimals: 2, Plus: []int{10},
		Minus: []int{11, 13}}
	text = Digits{Map: "E dddd s", Packing: "text", Decimals: 3, Plus: []int{0}, Minus: []int{15}}
	return
}

func TestDigitsFrame(t *testing.T) {
	packed, single, low, text := digitLayouts()
	for _, tc := range []struct {
		d       Digits
		in      string
		nm      int64
		channel string
		fault   string
	}{
		{d: packed, in: "FF 80 12 34 53 07", nm: -12_345_000},
		{d: packed, in: "FF 00 00 00 55 1F", nm: 1270},
		{d: packed, in: "FF 70 12 34 53 07", fault: "bad_digit"},
		{d: packed, in: "FF 80 12 3A 53 07", fault: "bad_digit"},
		{d: packed, in: "FF 80 12 34 5B 07", fault: "bad_digit"},
		{d: packed, in: "FF 80 12 34 53 27", fault: "bad_unit"},
		{d: packed, in: "FF 09 99 99 90 07", fault: "out_of_range"},
		// One nibble a byte, its bits the other way round: 1 is 8 then, 3 is C, 5 is A.
		{d: single, in: "0F 0F 0F 0F 01 00 08 04 0C 02 0A 0C 00", nm: -12_345_000},
		{d: single, in: "0F 0F 0F 0F 00 00 00 00 00 00 0A 0A 08", nm: 1270},
		{d: single, in: "0F 0F 0F 0F 02 00 08 04 0C 02 0A 0C 00", fault: "bad_digit"},
		// On the wire: A 5, 7, 4 3 2 1, B.
		{d: low, in: "5A 47 23 B1", nm: -12_340_000, channel: "7"},
		{d: low, in: "5A 47 23 C1", fault: "bad_digit"},
		{d: low, in: "5A 4E 23 B1", fault: "bad_digit"},
		{d: text, in: "E1234F\r\n", nm: -1_234_000},
		{d: text, in: " e12340\n", nm: 1_234_000},
		{d: text, in: "E12G40\n", fault: "bad_digit"},
		{d: text, in: "E1240\n", fault: "no_match"},
		{d: text, in: "D12340\n", fault: "no_match"},
	} {
		if ps := tc.d.Problems(RoleIndicator); len(ps) > 0 {
			t.Errorf("%+v is refused: %v", tc.d, ps)
			continue
		}
		in := []byte(tc.in)
		if tc.d.Packing != packText {
			in = unhex(t, tc.in)
		}
		f := tc.d.framer(RoleIndicator, true)
		got := f.Feed(nil, in, 7)
		if tc.fault != "" {
			if len(got) != 0 || f.Faults()[tc.fault] != 1 || f.FaultTotal() != 1 {
				t.Errorf("%s: %s: got %v, faults %v; want one %s", tc.d.Map, tc.in, got, f.Faults(), tc.fault)
			}
			continue
		}
		want := Sample{At: 7, Kind: Length, Value: tc.nm, Channel: tc.channel}
		if len(got) != 1 || got[0] != want || f.FaultTotal() != 0 {
			t.Errorf("%s: %s: got %v, faults %v; want %v", tc.d.Map, tc.in, got, f.Faults(), want)
		}
	}
}

func TestDigitsMistakes(t *testing.T) {
	good, _, _, _ := digitLayouts()
	for _, tc := range []struct {
		change    func(*Digits)
		key, want string
	}{
		{func(d *Digits) { d.Map = "FF s dddddd p u" }, "map", "no whole number of bytes"},
		{func(d *Digits) { d.Map = "F s dddddd p u" }, "map", "begins with no fixed byte"},
		{func(d *Digits) { d.Map = "FF s dddddd p u x" }, "map", `'x' means nothing`},
		{func(d *Digits) { d.Map = "FF s p u ..." }, "map", `0 digits`},
		{func(d *Digits) { d.Map = "FF ss dddddd p u" }, "map", "twice"},
		{func(d *Digits) { d.Map = "FF . dddddd p u ." }, "map", "no nibble is the sign"},
		{func(d *Digits) { d.Map = "FF s dddddd p . ." }, "map", "no nibble is the unit"},
		{func(d *Digits) { d.Minus = nil }, "minus", "missing"},
		{func(d *Digits) { d.Minus = []int{16} }, "minus", "0 to 15"},
		{func(d *Digits) { d.Minus, d.Plus = []int{3}, []int{3} }, "plus", "each in one of the two lists"},
		{func(d *Digits) { d.Units = nil }, "units", "missing"},
		{func(d *Digits) { d.Units = map[string]string{"10": "mm"} }, "units", "write a nibble"},
		{func(d *Digits) { d.Unit = "ell" }, "unit", `write "mm"`},
		{func(d *Digits) { d.Decimals = 3 }, "decimals", "0 to 9"},
		{func(d *Digits) { d.Packing = "three" }, "packing", `"two"`},
		{func(d *Digits) { d.Bits = "x" }, "bits", "the order of the four bits"},
		{func(d *Digits) { d.Order = "x" }, "order", "which digit comes first"},
		{func(d *Digits) { d.GapMS = -1 }, "gap_ms", "5 to 1000"},
		{func(d *Digits) { d.Packing, d.GapMS = "text", 10 }, "gap_ms", "frames of text are lines"},
	} {
		d := good
		tc.change(&d)
		ps := d.Problems(RoleIndicator)
		if tc.key == "plus" && len(ps) > 0 { // the two lists are read in any order
			tc.key = ps[0].Key
		}
		wantProblem(t, fmt.Sprintf("%+v", d), ps, tc.key, tc.want)
	}
	wantProblem(t, "an angle source", good.Problems(RoleAngle), "map", "no decimals and no unit")
}

// TestDigitsAreSureWhereSyncIsNoDigit: a set byte of FF cannot stand where a digit must, so no frame need be held;
// where the last byte may be anything, it must.
func TestDigitsAreSureWhereSyncIsNoDigit(t *testing.T) {
	packed, single, low, _ := digitLayouts()
	loose := packed
	loose.Map = "FF s dddddd p u . .."
	for _, tc := range []struct {
		d    Digits
		sure bool
	}{{packed, true}, {single, true}, {low, true}, {loose, false}} {
		if got := tc.d.framer(RoleIndicator, false).(*synced).sure; got != tc.sure {
			t.Errorf("%s: sure %v, want %v", tc.d.Map, got, tc.sure)
		}
	}
}

// TestLostBytesMakeNoWrongDigits drops bytes at random from a stream of known values.
func TestLostBytesMakeNoWrongDigits(t *testing.T) {
	packed, _, _, _ := digitLayouts()
	for seed := range uint64(100) {
		rnd := rand.New(rand.NewPCG(seed, 4))
		sent := map[int64]bool{}
		var stream []byte
		hurt := false
		for range 200 {
			v := rnd.IntN(1_000_000)
			sent[int64(v)*1000] = true
			frame := fmt.Appendf(nil, "%06d", v)
			b := []byte{0xFF, frame[0] - '0', frame[1]<<4&0xF0 | frame[2]&0x0F, frame[3]<<4&0xF0 | frame[4]&0x0F,
				frame[5]<<4&0xF0 | 3, 0}
			// Two neighbours that lost bytes may fit together to a good frame, and nothing could tell: one is whole.
			if lost := rnd.IntN(60); lost < len(b) && !hurt {
				b, hurt = append(b[:lost], b[lost+1:]...), true
			} else {
				hurt = false
			}
			stream = append(stream, b...)
		}
		f := packed.framer(RoleIndicator, false)
		f.Reset()
		got := f.Feed(nil, stream, 1)
		for _, s := range got {
			if !sent[s.Value] {
				t.Fatalf("seed %d: read %d nm, which was not sent", seed, s.Value)
			}
		}
		if len(got) < 120 { // each frame that is hurt takes its successors with it until the place is proved
			t.Fatalf("seed %d: only %d readings", seed, len(got))
		}
	}
}

func FuzzDigitsFramer(f *testing.F) {
	f.Add([]byte("\xff\x80\x12\x34\x53\x07\xff\x80\x12\x34\x54\x07"), uint8(3))
	f.Add([]byte("E1234F\r\nE1240"), uint8(7))
	f.Add([]byte("\x5a\x47\x23\xb1\x5a\x48\x23\xb1"), uint8(5))
	f.Fuzz(func(t *testing.T, p []byte, cut uint8) {
		packed, single, low, text := digitLayouts()
		gap := packed
		gap.GapMS = 10
		for _, d := range []Digits{packed, single, low, text, gap} {
			checkCuts(t, func() Framer { return d.framer(RoleIndicator, false) }, p, int(cut))
			checkCuts(t, func() Framer { f := d.framer(RoleIndicator, false); f.Reset(); return f }, p, int(cut))
		}
	})
}

// FuzzDigitsMap reads any map: it is refused with a problem, or makes a framer that takes anything.
func FuzzDigitsMap(f *testing.F) {
	f.Add("FF s dddddd p u .", "two", []byte("\xff\x80"))
	f.Add("F F dd", "one", []byte{})
	f.Fuzz(func(t *testing.T, text, packing string, p []byte) {
		d := Digits{Map: text, Packing: packing, Plus: []int{0}, Minus: []int{1}, Units: inUnits}
		for range 3 { // a map may lack the sign or the unit
			if len(d.Problems(RoleIndicator)) == 0 {
				d.framer(RoleIndicator, false).Feed(nil, p, 0)
				return
			}
			if d.Units != nil {
				d.Units = nil
			} else {
				d.Plus, d.Minus = nil, nil
			}
		}
	})
}

func BenchmarkDigitsFramer(b *testing.B) {
	packed, _, _, text := digitLayouts()
	b.Run("packed", func(b *testing.B) {
		benchmarkFramer(b, packed.framer(RoleIndicator, false), "\xff\x80\x12\x34\x53\x07\xff\x80\x12\x34\x54\x07", 2)
	})
	b.Run("text", func(b *testing.B) {
		benchmarkFramer(b, text.framer(RoleIndicator, false), "E1234F\r\nE12350\r\n", 2)
	})
}
