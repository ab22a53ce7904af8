package device

import (
	"testing"
	"time"
)

func TestWhateverASwitchSendsIsOnePulse(t *testing.T) {
	type piece struct {
		text string
		ms   int64
	}
	for name, tc := range map[string]struct {
		joined bool // in the middle of something
		pieces []piece
		want   []int64 // ms
	}{
		"a line":                    {false, []piece{{"x\r\n", 10}}, []int64{10}},
		"a byte":                    {false, []piece{{"\x00", 10}, {"\x00", 500}}, []int64{10, 500}},
		"a line in three reads":     {false, []piece{{"pre", 10}, {"ss", 12}, {"ed\n", 15}}, []int64{10}},
		"a late line end":           {false, []piece{{"x", 10}, {"\r\n", 200}, {"x\r\n", 400}}, []int64{10, 400}},
		"joined in mid-line":        {true, []piece{{"ssed\n", 10}, {"pressed\n", 400}}, []int64{400}},
		"joined, no line ends":      {true, []piece{{"x", 10}, {"x", 400}}, []int64{400}},
		"joined, after a clean end": {true, []piece{{"\n", 1}, {"x", 400}}, []int64{400}},
		"nothing but ends":          {false, []piece{{"\r\n\r\n", 10}}, nil},
	} {
		t.Run(name, func(t *testing.T) {
			f := NewPulseFramer()
			if tc.joined {
				f.Reset()
			}
			var got []Sample
			for _, p := range tc.pieces {
				got = f.Feed(got, []byte(p.text), Stamp(p.ms*int64(time.Millisecond)))
			}
			if len(got) != len(tc.want) {
				t.Fatalf("%d pulses %v, want at %v ms", len(got), got, tc.want)
			}
			for i, s := range got {
				if s.Kind != Pulse || int64(s.At)/int64(time.Millisecond) != tc.want[i] {
					t.Errorf("pulse %+v, want at %v ms", s, tc.want[i])
				}
			}
		})
	}
}

func FuzzPulseFramer(f *testing.F) {
	f.Add([]byte("x\r\n"), true)
	f.Fuzz(func(t *testing.T, p []byte, joined bool) {
		fr := NewPulseFramer()
		if joined {
			fr.Reset()
		}
		if n := len(fr.Feed(nil, p, 5)); n > 1 {
			t.Errorf("%d pulses at one moment", n)
		}
	})
}

func BenchmarkPulseFramer(b *testing.B) {
	f := NewPulseFramer()
	dst, at := make([]Sample, 0, 1), Stamp(0)
	b.ReportAllocs()
	before := cpu(b)
	for b.Loop() {
		at += 2 * pulseRest
		if len(f.Feed(dst, []byte("x\r\n"), at)) != 1 {
			b.Fatal("no pulse")
		}
	}
	reportCPU(b, before, 1)
}
