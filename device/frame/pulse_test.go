package frame

import (
	"testing"
	"time"

	"tramd/device/devicetest"
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
	f.Add([]byte("p\nstart\n"), false)
	f.Fuzz(func(t *testing.T, p []byte, joined bool) {
		fr := NewPulseFramer()
		if joined {
			fr.Reset()
		}
		if n := len(fr.Feed(nil, p, 5)); n > 1 {
			t.Errorf("%d pulses at one moment", n)
		}
		marked := NewPulseFramer().MarkedBy("start")
		if joined {
			marked.Reset()
		}
		if n := len(marked.Feed(nil, p, 5)); n > len(p)/2+1 {
			t.Errorf("%d pulses in %d bytes", n, len(p))
		}
	})
}

func BenchmarkPulseFramer(b *testing.B) {
	f := NewPulseFramer()
	dst, at := make([]Sample, 0, 1), Stamp(0)
	b.ReportAllocs()
	before := devicetest.CPU(b)
	for b.Loop() {
		at += 2 * pulseRest
		if len(f.Feed(dst, []byte("x\r\n"), at)) != 1 {
			b.Fatal("no pulse")
		}
	}
	reportCPU(b, before, 1)
}

// With a word for the start mark each line is a pulse of its own, stamped with its first byte; without one, lines that
// come too close are counted.
func TestPulsesOfAWheel(t *testing.T) {
	ms := func(x int64) Stamp { return Stamp(x * int64(time.Millisecond)) }
	f := NewPulseFramer().MarkedBy("start")
	var got []Sample
	for _, p := range []struct {
		text string
		at   int64
	}{{"p\r\n", 10}, {"p\n", 12}, {"sta", 20}, {"rt\n", 22}, {"p 4\np start\n", 30}, {"starting\n", 40}, {"p\n", 41}} {
		got = f.Feed(got, []byte(p.text), ms(p.at))
	}
	want := []Sample{{At: ms(10)}, {At: ms(12)}, {At: ms(20), Mark: true}, {At: ms(30)}, {At: ms(30), Mark: true},
		{At: ms(40)}, {At: ms(41)}}
	if len(got) != len(want) {
		t.Fatalf("%d pulses %+v", len(got), got)
	}
	for i, s := range got {
		if s.At != want[i].At || s.Mark != want[i].Mark || s.Kind != Pulse {
			t.Errorf("pulse %d: %+v, want %+v", i, s, want[i])
		}
	}
	f.Feed(nil, make([]byte, 1000), ms(50))
	if f.Faults()["too_long"] != 1 {
		t.Errorf("%v", f.Faults())
	}
	f.Reset()
	if got := f.Feed(nil, []byte("art\nstart\n"), ms(60)); len(got) != 1 || !got[0].Mark {
		t.Errorf("joined in the middle of a line: %+v", got)
	}

	plain := NewPulseFramer()
	plain.Feed(nil, []byte("p\r\n"), ms(10))
	plain.Feed(nil, []byte("p\r\n"), ms(25))
	if n := len(plain.Feed(nil, []byte("p\r\n"), ms(100))); n != 1 || plain.Faults()["too_close"] != 1 {
		t.Errorf("%d pulses, %v", n, plain.Faults())
	}
}
